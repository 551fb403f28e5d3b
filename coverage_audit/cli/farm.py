"""``coverage-audit farm`` and ``coverage-audit field``: a farm's folder, and the fields it keeps."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from coverage_audit import run
from coverage_audit.errors import InputError
from coverage_audit.files.whole_sets import Permit, check_folder, write_all
from coverage_audit.papers.words.safe import printable

from . import terminal

if TYPE_CHECKING:
    import argparse
    from collections.abc import Mapping


def add_farm(commands: argparse._SubParsersAction[Any]) -> None:
    """Add ``farm new`` and ``field add`` with their arguments."""
    farm = commands.add_parser("farm", help="keep a farm: its machines, products and fields", allow_abbrev=False)
    new = farm.add_subparsers(title="commands", required=True, metavar="new").add_parser(
        "new", help="make a farm's folder with examples to fill in", allow_abbrev=False
    )
    _add_folder(new)
    new.set_defaults(run=new_farm)
    field = commands.add_parser("field", help="keep the outline of a field", allow_abbrev=False)
    add = field.add_subparsers(title="commands", required=True, metavar="add").add_parser(
        "add", help="keep the fields of a file", allow_abbrev=False
    )
    _add_folder(add)
    add.add_argument("file", metavar="FILE", help="outline: GeoJSON, GeoPackage, KML, Shapefile, zipped too, or GPX")
    add.add_argument("--name", metavar="N", help="name of the field, when there is one in the file")
    add.add_argument("--no-spray", action="store_true", help="the file holds areas of kept fields not to be sprayed")
    add.set_defaults(run=add_field)


def _add_folder(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", metavar="DIR", type=Path, help="the farm's folder")
    terminal.add_quiet(parser)


def new_farm(options: argparse.Namespace) -> None:
    """Make the folder, its inner folders and its farm file."""
    from coverage_audit.papers.farm_files import FOLDERS  # noqa: PLC0415 - help answers before shapes are imported

    folder: Path = options.folder
    options.output = folder
    check_folder(folder)
    contents = run.new_farm(folder.absolute().name)
    write_beneath(folder, contents)
    options.written = True
    for name in FOLDERS:
        (folder / name).mkdir(exist_ok=True)
    typed = f'"{folder}"' if " " in str(folder) else folder  # as it has to be typed
    terminal.say(
        options,
        f"The farm is in {folder}: say its machines and products in farm.toml, keep its fields with\n"
        f"coverage-audit field add {typed} FILE, put whole days of logs into logs, then coverage-audit day {typed}.",
    )


def add_field(options: argparse.Namespace) -> None:
    """Keep the fields, or the no-spray areas, of a file."""
    options.output = options.folder
    contents = run.fields_added(options.folder, options.file, options.name, no_spray=options.no_spray)
    write_beneath(options.folder, contents, replace=options.no_spray)
    options.written = True
    what = "no-spray ground kept in" if options.no_spray else "kept:"
    terminal.say(options, "\n".join(f"{what} {printable(name)}" for name in contents))


def write_beneath(folder: Path, contents: Mapping[str, str | bytes], *, replace: bool = False) -> None:
    """Write files named from *folder*, "/" between folders: all those of one inner folder, or none of them.

    Without *replace* nothing that is there is ever replaced.
    """
    inner: dict[Path, dict[str, str | bytes]] = {}
    for name, content in contents.items():
        path = folder / name
        inner.setdefault(path.parent, {})[path.name] = content
    for place, files in inner.items():
        if not replace and (found := next((name for name in files if (place / name).exists()), None)):
            raise InputError("this is there already and is never replaced; move it away", str(place / found))
        write_all(place, files, permit=Permit(replace=replace))
