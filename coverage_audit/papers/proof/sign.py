"""Records that can be checked: canonical bytes, fingerprints, keys and signatures.

Canonical JSON is RFC 8785, signatures are Ed25519 (RFC 8032), salts HKDF-SHA-256 (RFC 5869), all by
libraries made for them.
"""

from __future__ import annotations

import hashlib
import json
import re
from importlib import import_module
from typing import TYPE_CHECKING, Any

from coverage_audit.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Sequence
    from types import ModuleType

Record = dict[str, Any]

ALGORITHM = "Ed25519"
SIGNATURE_KEYS = {"algorithm", "public_key", "value"}
_HEX = {"public_key": re.compile("[0-9a-f]{64}"), "value": re.compile("[0-9a-f]{128}")}

NUMBER_DIGITS, GROUP = 24, 4
"""Digits of a number that stands for a key or a record, and of one group: 24 digits are 80 bits, so that no second
key of the same number can be searched for. [1]"""


def library(name: str) -> ModuleType:
    """A library that only proofs need.

    Raises
    ------
    InputError
        It is not installed.
    """
    try:
        return import_module(name)
    except ImportError as error:
        raise InputError(
            "proofs need more libraries; install them in the program's folder: .venv/bin/pip install '.[proof]'",
            name.split(".", maxsplit=1)[0],
        ) from error


def canonical(value: object) -> bytes:
    """*value* as RFC 8785 bytes."""
    return bytes(library("rfc8785").dumps(value))


def record_text(record: Record) -> str:
    """The one form of *record* in a file, a page and a PDF: sorted keys, letters of ASCII.

    No tag of a page and no head of a PDF can stand in it, so that nothing shows it as anything but what it is.
    """
    text = json.dumps(record, ensure_ascii=True, sort_keys=True, indent=1)
    return text.replace("<", "\\u003c").replace("%PDF", "\\u0025PDF") + "\n"


def parse_strict(text: str) -> Record:
    """JSON object without duplicate keys, NaN or infinities.

    Raises
    ------
    ValueError
        It is anything else.
    """

    def once(pairs: list[tuple[str, Any]]) -> Record:
        names = [name for name, _ in pairs]
        if len(set(names)) < len(names):
            raise ValueError("a key stands twice in one object")
        return dict(pairs)

    def refuse(name: str) -> None:
        raise ValueError(f"{name} is not a number that JSON knows")

    found = json.loads(text, object_pairs_hook=once, parse_constant=refuse)
    if not isinstance(found, dict):
        raise ValueError("it is not a JSON object")  # noqa: TRY004 - one kind of error for all
    return found


def signed_part(record: Record) -> Record:
    """What the signature stands for: all of *record* but the signature's own value and a time stamp on it."""
    rest = {key: value for key, value in record.items() if key != "time_stamp"}
    return {**rest, "signature": {key: value for key, value in record["signature"].items() if key != "value"}}


def fingerprint(record: Record) -> str:
    """SHA-256 of everything that is signed, in hex."""
    body = {key: value for key, value in record.items() if key not in {"signature", "time_stamp"}}
    return hashlib.sha256(canonical(body)).hexdigest()


def number(fingerprint_hex: str) -> str:
    """A fingerprint as groups of digits, to read over the telephone."""
    digits = f"{int(fingerprint_hex, 16) % 10**NUMBER_DIGITS:0{NUMBER_DIGITS}d}"
    return " ".join(digits[k : k + GROUP] for k in range(0, NUMBER_DIGITS, GROUP))


def key_number(public: str) -> str:
    """Number of a public key (hex): that of the SHA-256 of its 32 bytes."""
    return number(hashlib.sha256(bytes.fromhex(public)).hexdigest())


def new_keys() -> tuple[str, str, str]:
    """Private key and public key (PEM, PKCS 8 and SubjectPublicKeyInfo), and a secret for salts (hex)."""
    serial = library("cryptography.hazmat.primitives.serialization")
    key = library("cryptography.hazmat.primitives.asymmetric.ed25519").Ed25519PrivateKey.generate()
    private = key.private_bytes(serial.Encoding.PEM, serial.PrivateFormat.PKCS8, serial.NoEncryption())
    public = key.public_key().public_bytes(serial.Encoding.PEM, serial.PublicFormat.SubjectPublicKeyInfo)
    return private.decode(), public.decode(), library("secrets").token_hex(32) + "\n"


def public_hex(pem: str, place: str) -> str:
    """Raw public key in hex from a PEM file.

    Raises
    ------
    InputError
        It is not an Ed25519 public key.
    """
    serial = library("cryptography.hazmat.primitives.serialization")
    try:
        found = serial.load_pem_public_key(pem.encode()).public_bytes_raw()
    except Exception as error:
        raise InputError("this is not an Ed25519 public key in PEM; use the one that proof keys made", place) from error
    if not proper_key(found):
        raise InputError("this key has small order: anybody can sign for it; use the one that proof keys made", place)
    return str(found.hex())


_P = 2**255 - 19
CURVE_D = -121665 * pow(121666, -1, _P) % _P
"""Prime and constant of the curve (RFC 8032, section 5.1)."""


def proper_key(raw: bytes) -> bool:
    """Whether 32 bytes are the one encoding of a point of more than small order (1, 2, 4 or 8).

    Under a key of small order a signature that nobody made fits every record, or one in a few. On the curve
    -x^2 + y^2 = 1 + d x^2 y^2 a point has order 1 or 2 where y^2 = 1, order 4 where y = 0, and order 8 where its
    double has y = 0, that is x^2 = -y^2 and so d y^4 + 2 y^2 = 1.
    """
    y = int.from_bytes(raw, "little") & (2**255 - 1)
    small = y * (y * y - 1) * (CURVE_D * y**4 + 2 * y * y - 1) % _P == 0
    return len(raw) == 32 and y < _P and not small


def sign(record: Record, private_pem: str, place: str) -> Record:
    """*record* with its signature.

    Raises
    ------
    InputError
        The key cannot be read.
    """
    key = _private(private_pem, place)
    public = key.public_key().public_bytes_raw().hex()
    open_record = {**record, "signature": {"algorithm": ALGORITHM, "public_key": public}}
    value = key.sign(canonical(open_record)).hex()
    return {**record, "signature": {"algorithm": ALGORITHM, "public_key": public, "value": value}}


def _private(pem: str, place: str) -> Any:  # noqa: ANN401 - the library's
    serial = library("cryptography.hazmat.primitives.serialization")
    try:
        key = serial.load_pem_private_key(pem.encode(), None)
        key.public_key().public_bytes_raw()
    except Exception as error:
        raise InputError("this is not an Ed25519 private key in PEM; make one with proof keys", place) from error
    return key


def sign_detached(value: object, private_pem: str, place: str) -> str:
    """Signature of *value*, to stand elsewhere than in it. [hex]"""
    return str(_private(private_pem, place).sign(canonical(value)).hex())


def detached(value: object, public: str, signature: str) -> bool:
    """Whether *signature* (hex) of *value* is by the key *public* (hex)."""
    ed25519 = library("cryptography.hazmat.primitives.asymmetric.ed25519")
    try:
        ed25519.Ed25519PublicKey.from_public_bytes(bytes.fromhex(public)).verify(
            bytes.fromhex(signature), canonical(value)
        )
    except Exception:  # noqa: BLE001 - whatever the library refuses does not hold
        return False
    return True


def _fault_of_form(own: Any) -> str:  # noqa: ANN401 - any JSON value
    if own is None:
        return "the record is not signed"
    if not isinstance(own, dict) or set(own) != SIGNATURE_KEYS or own["algorithm"] != ALGORITHM:
        return "the signature is not of the form that this program writes"
    if any(not isinstance(own[key], str) or not _HEX[key].fullmatch(own[key]) for key in _HEX):
        return "key and signature must be hex in small letters"
    if not proper_key(bytes.fromhex(own["public_key"])):
        return "the record is signed by a key that anybody can sign for"
    return ""


def signature_fault(record: Record, public: str | None, wanted: str = "") -> str:
    """What is wrong with the signature of *record*; "" when it holds.

    Parameters
    ----------
    public : str or None
        The key it must be by, in hex; None = any.
    wanted : str
        Digits of the number of the key that it must be by; "" = any.
    """
    own: Any = record.get("signature")
    if fault := _fault_of_form(own):
        return fault
    if not detached(signed_part(record), own["public_key"], own["value"]):
        return "the signature does not fit the record: it was changed after signing, or signed by another key"
    if public is not None and public != own["public_key"]:
        return "the record was signed by another key than the one given"
    if wanted and wanted != key_number(own["public_key"]).replace(" ", ""):
        return "the record was signed by another key than the one with the number given"
    return ""


def salt(secret_hex: str, record_fingerprint: str, path: Sequence[str]) -> str:
    """Salt of one field: HKDF-SHA-256 of the secret, by the record's fingerprint and the field's path. [hex]"""
    hkdf = library("cryptography.hazmat.primitives.kdf.hkdf").HKDF
    sha256 = library("cryptography.hazmat.primitives.hashes").SHA256()
    made = hkdf(sha256, 32, bytes.fromhex(record_fingerprint), "/".join(path).encode())
    return str(made.derive(bytes.fromhex(secret_hex)).hex())


def commitment(salt_hex: str, value: object) -> str:
    """SHA-256 of a salt and a value in canonical form. [hex]"""
    return hashlib.sha256(bytes.fromhex(salt_hex) + canonical(value)).hexdigest()
