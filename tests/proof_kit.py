"""A signed coverage proof on disk, and copies of it signed again after a change, for the tests of attacks."""

import copy
import json
import shutil
from dataclasses import dataclass
from pathlib import Path

from coverage_audit.cli import command as cli
from coverage_audit.papers.proof.sign import sign

FIXTURE = Path(__file__).parent.parent / "fixtures" / "one_pass_off"
TIME = "2026-06-30T12:00:00Z"
STATED = (
    '[proof]\nfield_name = "Larch meadow"\napplicator = "Nino Beridze"\nfeeding = "not before 7 days <b>"\n'
    '[[product]]\nname = "Larkmoor 200 SL"\nreg_no = "0000-11"\nrate = "1.2 L/ha"\nphi = "30 days"\n'
)


@dataclass(frozen=True)
class Proof:
    """Folder with ``inputs``, ``keys`` and the papers in ``out``."""

    folder: Path

    @property
    def inputs(self):
        """The job's own files."""
        return self.folder / "inputs"

    @property
    def keys(self):
        """Keys and secret."""
        return self.folder / "keys"

    @property
    def out(self):
        """The papers."""
        return self.folder / "out"

    @property
    def public(self):
        """The public key's file."""
        return self.keys / "seller.public"

    @property
    def key(self):
        """The private key."""
        return (self.keys / "seller.private").read_text()

    def record(self, name="proof-buyer.json"):
        """The record in one of the papers."""
        return json.loads((self.out / name).read_text(encoding="utf-8"))

    def again(self, change, name="proof-buyer.json"):
        """The record after *change*, signed again with the grower's own key."""
        record = copy.deepcopy(self.record(name))
        record.pop("signature")
        change(record)
        return sign(record, self.key, "key")


def make(folder, *options, stated=STATED):
    """A proof of the worked job in *folder*, made by the command itself."""
    proof = Proof(folder)
    assert cli.main(["proof", "keys", "-o", str(proof.keys), "--quiet"]) == 0
    shutil.copytree(FIXTURE, proof.inputs)
    with (proof.inputs / "job.toml").open("a", encoding="utf-8") as file:
        file.write(stated)
    assert prove(proof, *options) == 0
    return proof


def prove(proof, *options, out=None, key=True):
    """Exit code of ``proof`` run on the inputs."""
    signed = ["--key", str(proof.keys / "seller.private")] if key else []
    run = ["proof", str(proof.inputs / "job.toml"), "-o", str(out or proof.out), *signed]
    return cli.main([*run, "--time", TIME, "--quiet", *options])


def verify(*arguments):
    """Exit code of ``verify``, whose words can be read with capsys."""
    return cli.main(["proof", "check", *map(str, arguments)])
