"""A self-signed certificate, so that phones on the same network may use camera and storage."""

from __future__ import annotations

import datetime
import ipaddress
from collections.abc import Iterable
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

VALID = datetime.timedelta(days=397)  # Phones refuse a longer life.
RENEW_BEFORE = datetime.timedelta(days=7)
Address = ipaddress.IPv4Address | ipaddress.IPv6Address


def self_signed(folder: Path, *, addresses: Iterable[str]) -> tuple[Path, Path]:
    """Certificate and key files for `localhost` and `addresses`, kept while they still fit.

    Parameters
    ----------
    addresses
        IP addresses under which the site is reached.

    Returns
    -------
    certificate, key
        PEM files in `folder`.
    """
    certificate, key = folder / "certificate.pem", folder / "key.pem"
    wanted = [ipaddress.ip_address(address) for address in addresses]
    if not _fits(certificate, wanted):
        folder.mkdir(parents=True, exist_ok=True)
        _write(certificate, key, wanted)
    return certificate, key


def _fits(path: Path, wanted: list[Address]) -> bool:
    if not path.exists():
        return False
    found = x509.load_pem_x509_certificate(path.read_bytes())
    names = found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    now = datetime.datetime.now(datetime.UTC)
    return found.not_valid_after_utc - RENEW_BEFORE > now and set(wanted) <= set(
        names.get_values_for_type(x509.IPAddress)
    )


def _write(certificate: Path, key: Path, wanted: list[Address]) -> None:
    private = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Causeway on this machine")])
    now = datetime.datetime.now(datetime.UTC)
    names = [x509.DNSName("localhost"), *(x509.IPAddress(address) for address in wanted)]
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(private.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - datetime.timedelta(days=1))
        .not_valid_after(now + VALID)
        .add_extension(x509.SubjectAlternativeName(names), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .sign(private, hashes.SHA256())
    )
    key.touch(mode=0o600)
    key.write_bytes(
        private.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
    )
    certificate.write_bytes(made.public_bytes(serialization.Encoding.PEM))
