"""The shop server's own certificate: made once, kept with the shop's folder, known to tablets by its fingerprint.

[1] RFC 5280: certificates. Its dates are set wide; tablets do not check them.
[2] FIPS 186-5: the curve P-256.
"""

from __future__ import annotations

import hashlib
import socket
import ssl
from datetime import UTC, datetime
from pathlib import Path

import attrs

from garboard.disk import storage

CERTIFICATE_FILE, KEY_FILE = "certificate.pem", "key.pem"
_FROM, _UNTIL = datetime(2000, 1, 1, tzinfo=UTC), datetime(2999, 1, 1, tzinfo=UTC)


@attrs.frozen
class Certificate:
    """A certificate and its key, as files.

    fingerprint : SHA-256 over the certificate, in hexadecimal
    """

    certificate: Path
    key: Path
    fingerprint: str


def own_certificate(folder: Path) -> Certificate:
    """The certificate kept in a folder; made when there is none.

    errors : storage.NotSaved
    """
    certificate, key = folder / CERTIFICATE_FILE, folder / KEY_FILE
    if not (certificate.exists() and key.exists()):
        _make(certificate, key)
    der = ssl.PEM_cert_to_DER_cert(certificate.read_text("ascii"))
    return Certificate(certificate, key, hashlib.sha256(der).hexdigest())


def _make(certificate: Path, key: Path) -> None:
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.oid import NameOID

    private = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Garboard shop server")])
    names = [x509.DNSName("localhost"), x509.DNSName(_plain_name(socket.gethostname()))]
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(private.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(_FROM)
        .not_valid_after(_UNTIL)
        .add_extension(x509.SubjectAlternativeName(names), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .sign(private, hashes.SHA256())
    )
    secret = private.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    storage.make_folder(key.parent)
    storage.write_whole(key, [secret], private=True)
    storage.write_whole(certificate, [made.public_bytes(serialization.Encoding.PEM)], private=True)


def _plain_name(host: str) -> str:
    return host.encode("ascii", "ignore").decode() or "shop"
