"""Seeded edits of the papers of a proof: what happens to a file by accident, and what a forger would try."""

import json
import random
import re

from proof_kit import make, prove
from stamp_authority import Authority

from coverage_audit.papers.proof.sign import record_text

PAPERS = ("proof.html", "proof.pdf", "proof-buyer.json")
TAG = b'<script type="application/json" id="record">'
SAYINGS = ("", '[proof]\nfield_name = "Larch meadow"\n', '[proof]\nfield_name = "Birch meadow"\n')


def edited_of(folder):
    """Papers by name of four proofs by one key: two places, three fields, and one with a time stamp."""
    first = make(folder / "first", stated=SAYINGS[0])
    found = [first.out]
    text = (first.inputs / "job.toml").read_text(encoding="utf-8")
    with Authority(folder / "authority") as authority:
        for number, (saying, *how) in enumerate(
            ((SAYINGS[1], "--place", "exact"), (SAYINGS[2],), (SAYINGS[1], "--stamp", authority.address))
        ):
            (first.inputs / "job.toml").write_text(text + saying, encoding="utf-8")
            found.append(folder / f"out{number}")
            assert prove(first, *how, out=found[-1]) == 0
    return [{name: (out / name).read_bytes() for name in PAPERS} for out in found]


def update(pdf, page):
    """*pdf* with an incremental update (ISO 32000-1, 7.5.6) that shows *page* in place of its first page's content."""
    number = int(re.search(rb"/Contents (\d+) 0 R", pdf)[1])
    last = int(re.findall(rb"startxref\n(\d+)", pdf)[-1])
    root = re.search(rb"/Root \d+ 0 R", pdf)[0]
    size = re.search(rb"/Size (\d+)", pdf)[1]
    new = b"%d 0 obj\n<<\n/Length %d\n>>\nstream\n%s\nendstream\nendobj\n" % (number, len(page), page)
    table = b"xref\n%d 1\n%010d 00000 n \n" % (number, len(pdf))
    end = b"trailer\n<<\n/Size %s\n%s\n/Prev %d\n>>\nstartxref\n%d\n%%%%EOF\n"
    return pdf + new + table + end % (size, root, last, len(pdf) + len(new))


# --- accidents -------------------------------------------------------------------------------------


def flip(rng, data, _other):
    """One bit."""
    place = rng.randrange(len(data))
    return data[:place] + bytes([data[place] ^ (1 << rng.randrange(8))]) + data[place + 1 :]


def digit(rng, data, _other):
    """One digit of a figure becomes another: what a forger wants."""
    place = rng.choice([found.start() for found in re.finditer(rb"[0-9]", data)] or [0])
    return data[:place] + bytes([rng.choice(b"0123456789")]) + data[place + 1 :]


def insert(rng, data, _other):
    place = rng.randrange(len(data) + 1)
    more = rng.choice([b" ", b"\n", b"\0", b"\xef\xbb\xbf", b"{", b"%", b"<b>", b"100.00 %", rng.randbytes(5)])
    return data[:place] + more + data[place:]


def at_an_end(rng, data, other):
    more = rng.choice([b" ", b"\n", b"\r", b"\0", b"{", b"%PDF-1.4\n", b"<h1>100.00 %</h1>", b"%%EOF\n", other])
    return more + data if rng.random() < 0.5 else data + more


def cut(rng, data, _other):
    return data[: rng.randrange(len(data))]


def leave_out(rng, data, _other):
    start = rng.randrange(len(data))
    return data[:start] + data[start + rng.randint(1, 60) :]


def twice(rng, data, _other):
    start = rng.randrange(len(data))
    end = start + rng.randint(1, 400)
    return data[:end] + data[start:end] + data[end:]


def swap(rng, data, _other):
    a, b, c, d = sorted(rng.randrange(len(data)) for _ in range(4))
    return data[:a] + data[c:d] + data[b:c] + data[a:b] + data[d:]


def lines_swapped(rng, data, _other):
    lines = data.split(b"\n")
    a, b = rng.randrange(len(lines)), rng.randrange(len(lines))
    lines[a], lines[b] = lines[b], lines[a]
    return b"\n".join(lines)


def blanks(rng, data, _other):
    """White space that says nothing: line ends, tabs, none."""
    place = rng.choice([found.start() for found in re.finditer(rb"[ \n]", data)] or [0])
    return data[:place] + rng.choice([b"", b"\t", b"  ", b"\r\n", b" ", b"\n"]) + data[place + 1 :]


def spliced(rng, data, other):
    """The head of one seller's paper and the tail of another's, cut at one place or at one word."""
    place = rng.randrange(min(len(data), len(other)))
    if rng.random() < 0.5:
        return data[:place] + other[place:]
    word = rng.choice(
        [b"<script", b"<h2>", b'"figures"', b'"map"', b'"signature"', b"stream\n", b"endobj\n", b"xref\n"]
    )
    return data.partition(word)[0] + word + other.partition(word)[2]


def line_of_another(rng, data, other):
    lines = data.split(b"\n")
    lines[rng.randrange(len(lines))] = rng.choice(other.split(b"\n"))
    return b"\n".join(lines)


def around(rng, data, other):
    """A paper inside another one."""
    place = rng.randrange(len(other))
    return other[:place] + data + other[place:]


# --- tricks ----------------------------------------------------------------------------------------


def record_of(data):
    """Place of the record's text in a paper, and the record."""
    start = data.rindex(TAG) + len(TAG) if TAG in data else data.find(b"/Type /EmbeddedFile\n>>\nstream\n") + 31
    start = max(start, 0) if data.startswith(b"%PDF") or TAG in data else 0
    end = len(data)
    for mark in (b"</script>", b"\nendstream\n"):
        if (place := data.find(mark, start)) >= 0:
            end = min(end, place)
    return start, end, json.loads(data[start:end])


def within(data, change):
    """*data* with its record changed; as it is where it holds none any more."""
    try:
        start, end, record = record_of(data)
    except ValueError:
        return data
    return data[:start] + change(record, data[start:end]) + data[end:]


def part_of_another(rng, data, other):
    """A member of another proof of the same key in place of the own one."""

    def change(record, _text):
        try:
            theirs = record_of(other)[2]
        except ValueError:
            return record_text(record).encode()
        for key in rng.sample(sorted(set(record) & set(theirs)), 3):
            record[key] = theirs[key]
        return record_text(record).encode()

    return within(data, change)


def key_twice(rng, data, _other):
    def change(_record, text):
        lines = text.split(b"\n")
        place = rng.choice([number for number, line in enumerate(lines) if b'": "' in line])
        name = lines[place].split(b":")[0]
        return b"\n".join([*lines[:place], name + b': "100.00",', *lines[place:]])

    return within(data, change)


def another_number(rng, data, _other):
    """1.0 or 1e0 for 1, 98.330 for 98.33, a number without its quotation marks."""

    def change(_record, text):
        found = rng.choice([*re.finditer(rb"(?<=[ \"])[0-9]+(?:\.[0-9]+)?(?=[\",\n])", text)])
        dotted = b"." in found[0]
        said = rng.choice([found[0] + (b"0" if dotted else b".0"), b"0" + found[0], found[0] + b"e0", b"+" + found[0]])
        return text[: found.start()] + said + text[found.end() :]

    return within(data, change)


ALIKE = {b"a": "\u0430", b"e": "\u0435", b"o": "\u043e", b"c": "\u0441", b"p": "\u0440", b"i": "\u0456", b" ": "\u00a0"}


def look_alike(rng, data, _other):
    """A Cyrillic letter for a Latin one, in the record as an escape or in the page as it is."""
    place = rng.choice([found.start() for found in re.finditer(rb"[aeocpi ]", data)] or [0])
    letter = ALIKE.get(data[place : place + 1], "\u0430")
    said = rng.choice([letter.encode(), b"\\u%04x" % ord(letter)])
    return data[:place] + said + data[place + 1 :]


def same_by_escape(rng, data, _other):
    """The same text of JSON written otherwise."""

    def change(_record, text):
        place = rng.choice([found.start() for found in re.finditer(rb"[a-z]", text)])
        return text[:place] + b"\\u%04x" % text[place] + text[place + 1 :]

    return within(data, change)


HIDING = (
    b"<style>.missed { display: none; }</style>",
    b"<style>tr:nth-child(4) { visibility: hidden; }</style>",
    b"<style>.sentence { font-size: 0; } .sentence::after { content: 'All was sprayed.'; font-size: 20px; }</style>",
    b"<style>td { color: #fbfaf4; }</style>",
    b"<base href='x'>",
    b"<script>document.title = '100 %'</script>",
    b"<!--",
    b"<p style='position:absolute;top:0;background:#fff'>100.00 % proven</p>",
)


def styled(rng, data, _other):
    """A page whose style hides or covers what it says."""
    place = rng.choice([found.start() for found in re.finditer(rb"</head>|<body>|<h2>|<table>|<tr>", data)] or [0])
    return data[:place] + rng.choice(HIDING) + data[place:]


def updated(rng, data, _other):
    """A PDF with an update behind it that shows something else."""
    if not data.startswith(b"%PDF") or b"/Contents" not in data or b"startxref" not in data:
        return data + b"\n%%EOF\n"
    streams = re.findall(rb"stream\n(2 J.*?)\nendstream", data, re.DOTALL)
    shown = rng.choice(streams) if streams else b""
    numbers = [*re.finditer(rb"[0-9]+\.[0-9]+ %", shown)]
    if numbers:
        found = rng.choice(numbers)
        shown = shown[: found.start()] + b"100.00 %" + shown[found.end() :]
    return update(data, shown or b"BT (100.00 %) Tj ET")


def drawn_otherwise(rng, data, _other):
    """A PDF whose operators draw elsewhere, in white, or invisibly."""
    pairs = [(b"0 g\n", b"1 g\n"), (b" Tj ET", b" Tr ET"), (b" re f", b" re n"), (b"/F1 18.00", b"/F1 00.10")]
    one, another = rng.choice(pairs)
    places = [found.start() for found in re.finditer(re.escape(one), data)]
    if not places:
        return flip(rng, data, _other)
    place = rng.choice(places)
    return data[:place] + another + data[place + len(one) :]


ACCIDENTS = [flip, flip, digit, digit, insert, insert, at_an_end, cut, leave_out, twice, swap, lines_swapped, blanks]
ACCIDENTS += [blanks, spliced, spliced, line_of_another, around]
TRICKS = [part_of_another, part_of_another, key_twice, another_number, look_alike, look_alike, same_by_escape]
TRICKS += [styled, styled, updated, updated, drawn_otherwise]
CHANGES = [*ACCIDENTS, *TRICKS]


def mutated(seed, proofs):
    """Bytes of one changed paper, or None where nothing changed; and how it was made."""
    rng = random.Random(seed)
    own, stranger = rng.sample(proofs, 2)
    name = rng.choice(PAPERS)
    other = stranger[name] if rng.random() < 0.7 else rng.choice([own, stranger])[rng.choice(PAPERS)]
    data, done = own[name], []
    for _ in range(rng.choice([1, 1, 1, 2, 5])):
        change = rng.choice(CHANGES)
        done.append(change.__name__)
        data = change(rng, data, other) if data else data
    genuine = {paper for proof in proofs for paper in proof.values()}
    return (None if data in genuine else data), name, done
