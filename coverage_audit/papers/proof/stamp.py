"""A time stamp (RFC 3161) on a signed record, by a service that the grower names; none is named here.

The service gets a hash and nothing else. Its answer goes into the record beside the signature, signed again, so that
nobody takes it off or puts another there. Request, answer and certificates are handled by the library rfc3161-client.
"""

from __future__ import annotations

import base64
import hashlib
import re
from typing import TYPE_CHECKING, Any, NamedTuple

from coverage_audit.errors import InputError

from .sign import canonical, detached, library, sign_detached

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    Record = dict[str, Any]

MEMBERS = {"token", "time", "value"}
LONGEST_TOKEN = 60_000
"""An answer with a chain of certificates has 4 000 to 10 000 bytes. [letters of base64]"""

_TOKEN, _TIME = re.compile(r"[A-Za-z0-9+/]+={0,2}"), re.compile(r"[0-9]{4}(?:-[0-9]{2}){2}T[0-9]{2}(?::[0-9]{2}){2}Z")
_VALUE = re.compile(r"[0-9a-f]{128}")


class Stamp(NamedTuple):
    """What a service says: when (ISO 8601, UTC, whole seconds), who (as its certificate names it), and the hash."""

    time: str
    who: str
    imprint: bytes


def stamped_bytes(record: Record) -> bytes:
    """What a time stamp is on: the whole signed record."""
    return canonical({key: value for key, value in record.items() if key != "time_stamp"})


def stamped(record: Record, ask: Callable[[bytes], bytes], private_pem: str, place: str) -> Record:
    """*record*, signed, with the answer of the service that *ask* sends a request to.

    Raises
    ------
    InputError
        The service does not answer, refuses, or answers something else.
    """
    tsp = library("rfc3161_client")
    message = stamped_bytes(record)
    builder = tsp.TimestampRequestBuilder().data(message).hash_algorithm(tsp.HashAlgorithm.SHA256)
    request = builder.nonce(nonce=True).cert_request(cert_request=True).build()
    answer = ask(request.as_bytes())
    found = _read(answer)
    if found is None or found[0].imprint != hashlib.sha256(message).digest() or found[1] != request.nonce:
        raise InputError("the service's answer is no time stamp on this record; name another service", "--stamp")
    if record["made"] > found[0].time[:10]:
        raise InputError(f"the proof is said to be made after its time stamp, {found[0].time}", "--time")
    token = {"token": base64.b64encode(answer).decode(), "time": found[0].time}
    if len(token["token"]) > LONGEST_TOKEN:
        raise InputError("the service's answer is too long for a proof; name another service", "--stamp")
    value = sign_detached({**record, "time_stamp": token}, private_pem, place)
    return {**record, "time_stamp": {**token, "value": value}}


def _read(answer: bytes) -> tuple[Stamp, int | None] | None:
    """What a service's *answer* says, and its nonce; None when it is no stamp."""
    try:
        response = library("rfc3161_client").decode_timestamp_response(answer)
        info = response.tst_info
        name = next(iter(_signers(response)), "")
        moment = info.gen_time.isoformat(timespec="seconds")[:19] + "Z"
        return Stamp(moment, name, bytes(info.message_imprint.message)), info.nonce
    except InputError:
        raise
    except Exception:  # noqa: BLE001 - whatever the library cannot read is no stamp
        return None


def _signers(response: Any) -> list[str]:  # noqa: ANN401 - the library's
    """Names of those who signed, as their certificates in the answer have them."""
    x509 = library("cryptography.x509")
    certificates = [x509.load_der_x509_certificate(one) for one in response.signed_data.certificates]
    return [
        one.subject.rfc4514_string()
        for signer in response.signed_data.signer_infos
        for one in certificates
        if (one.issuer, one.serial_number) == (signer.issuer, signer.serial_number)
    ]


def stamp_fault(record: Record) -> str:
    """What is wrong with the time stamp of a record whose signature holds; "" when nothing is, or there is none.

    Whether the service is one to trust, :func:`trusted` says.
    """
    own: Any = record.get("time_stamp")
    if own is None:
        return ""
    forms = {"token": _TOKEN, "time": _TIME, "value": _VALUE}
    if not isinstance(own, dict) or set(own) != MEMBERS:
        return "the time stamp is not of the form that this program writes"
    if any(not isinstance(own[key], str) or not form.fullmatch(own[key]) for key, form in forms.items()):
        return "the time stamp is not of the form that this program writes"
    open_record = {**record, "time_stamp": {key: own[key] for key in ("token", "time")}}
    if len(own["token"]) > LONGEST_TOKEN or not detached(open_record, record["signature"]["public_key"], own["value"]):
        return "the time stamp was put on, changed or exchanged by somebody else than the signer"
    return ""


def trusted(record: Record, certificates: Sequence[bytes]) -> tuple[Stamp | None, str]:
    """The stamp of *record* when it holds under *certificates* (PEM), and else what is wrong with it.

    Parameters
    ----------
    certificates : sequence of bytes
        Roots that the buyer trusts, and certificates between, from the service itself.
    """
    tsp, x509 = library("rfc3161_client"), library("cryptography.x509")
    try:
        answer = base64.b64decode(record["time_stamp"]["token"], validate=True)
        found = _read(answer)
        if found is None or found[0].imprint != hashlib.sha256(stamped_bytes(record)).digest():
            return None, "the time stamp is not on this record"
        if found[0].time != record["time_stamp"]["time"]:
            return None, "the time stamp has another time than the record says"
        if record["made"] > found[0].time[:10]:
            return None, "the record says that it was made after its time stamp"
        builder = tsp.VerifierBuilder()
        for one in certificates:
            for certificate in x509.load_pem_x509_certificates(one):
                root = certificate.issuer == certificate.subject
                add = builder.add_root_certificate if root else builder.add_intermediate_certificate
                builder = add(certificate)
        builder.build().verify(tsp.decode_timestamp_response(answer), found[0].imprint)
    except InputError:
        raise
    except Exception as error:  # noqa: BLE001 - whatever the library refuses does not hold
        return None, f"the time stamp does not hold under the certificates given ({error})"
    return found[0], ""
