"""A small certificate authority of this server's own, so that a phone on the same network may keep pages and
see that it speaks to the right machine."""

from __future__ import annotations

import contextlib
import datetime
import ipaddress
import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from wringout.errors import DataError

if TYPE_CHECKING:
    from cryptography import x509
    from cryptography.hazmat.primitives.asymmetric import ec

__all__ = ["Certificates", "certificates"]

AUTHORITY_DAYS = 3650
SERVER_DAYS = 397  # phones refuse certificates that hold longer than 398 days
RENEW_DAYS = 30


@dataclass(frozen=True, slots=True)
class Certificates:
    """Files for the server, the authority's certificate as bytes for phones, and its fingerprint."""

    chain: Path
    key: Path
    authority: bytes
    fingerprint: str


def certificates(folder: Path, addresses: tuple[str, ...]) -> Certificates:
    """Give the certificates of a server, made on first use and made anew for new addresses.

    Parameters
    ----------
    folder : Path
        Where they are kept; keys can be read by their owner alone.
    addresses : tuple of str
        Names and IP addresses that the server answers to.

    Raises
    ------
    DataError
        When they cannot be read or written.
    """
    from cryptography.hazmat.primitives import hashes, serialization

    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        authority, authority_key = _authority(folder)
        chain, key = folder / "server.pem", folder / "server-key.pem"
        if not _still_good(chain, key, authority, addresses):
            _make_server(chain, key, authority, authority_key, addresses)
    except (OSError, ValueError) as error:
        raise DataError(f"{folder}: certificates cannot be kept there ({error})") from None
    print_ = authority.fingerprint(hashes.SHA256()).hex(":").upper()
    return Certificates(chain, key, authority.public_bytes(serialization.Encoding.DER), print_)


def _authority(folder: Path) -> tuple[x509.Certificate, ec.EllipticCurvePrivateKey]:
    from cryptography import x509
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric import ec

    certificate_file, key_file = folder / "authority.pem", folder / "authority-key.pem"
    if certificate_file.is_file() and key_file.is_file():
        known = serialization.load_pem_private_key(key_file.read_bytes(), None)
        if isinstance(known, ec.EllipticCurvePrivateKey):
            return x509.load_pem_x509_certificate(certificate_file.read_bytes()), known
    key = ec.generate_private_key(ec.SECP256R1())
    name = _name("Wringout, this server's own authority")
    made = (
        _begun(name, name, key.public_key(), AUTHORITY_DAYS)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs_certificates=True), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
    )
    from cryptography.hazmat.primitives import hashes

    certificate = made.sign(key, hashes.SHA256())
    _write(key_file, _private(key))
    _write(certificate_file, certificate.public_bytes(serialization.Encoding.PEM))
    return certificate, key


def _make_server(
    chain: Path,
    key_file: Path,
    authority: x509.Certificate,
    authority_key: ec.EllipticCurvePrivateKey,
    addresses: tuple[str, ...],
) -> None:
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.oid import ExtendedKeyUsageOID

    key = ec.generate_private_key(ec.SECP256R1())
    names: list[x509.GeneralName] = []
    for address in addresses:
        try:
            names.append(x509.IPAddress(ipaddress.ip_address(address)))
        except ValueError:
            names.append(x509.DNSName(address))
    made = (
        _begun(_name("Wringout server"), authority.subject, key.public_key(), SERVER_DAYS)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.SubjectAlternativeName(names), critical=False)
        .add_extension(_usage(signs_certificates=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_public_key(authority_key.public_key()), critical=False
        )
    )
    certificate = made.sign(authority_key, hashes.SHA256())
    _write(key_file, _private(key))
    pem = serialization.Encoding.PEM
    _write(chain, certificate.public_bytes(pem) + authority.public_bytes(pem))


def _still_good(chain: Path, key: Path, authority: x509.Certificate, addresses: tuple[str, ...]) -> bool:
    from cryptography import x509
    from cryptography.exceptions import InvalidSignature

    if not (chain.is_file() and key.is_file()):
        return False
    certificate = x509.load_pem_x509_certificate(chain.read_bytes())
    left = certificate.not_valid_after_utc - datetime.datetime.now(datetime.UTC)
    try:
        certificate.verify_directly_issued_by(authority)
    except (ValueError, TypeError, InvalidSignature):
        return False
    names: set[str] = set()
    with contextlib.suppress(x509.ExtensionNotFound):
        found = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
        names = {str(name.value) for name in found}
    return left.days > RENEW_DAYS and set(addresses) <= names


def _begun(
    subject: x509.Name, issuer: x509.Name, public: ec.EllipticCurvePublicKey, days: int
) -> x509.CertificateBuilder:
    from cryptography import x509

    now = datetime.datetime.now(datetime.UTC)
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(public)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - datetime.timedelta(hours=1))
        .not_valid_after(now + datetime.timedelta(days=days))
    )


def _name(words: str) -> x509.Name:
    from cryptography import x509
    from cryptography.x509.oid import NameOID

    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, words)])


def _usage(*, signs_certificates: bool) -> x509.KeyUsage:
    from cryptography import x509

    return x509.KeyUsage(
        digital_signature=True,
        key_cert_sign=signs_certificates,
        crl_sign=signs_certificates,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        encipher_only=False,
        decipher_only=False,
    )


def _private(key: ec.EllipticCurvePrivateKey) -> bytes:
    from cryptography.hazmat.primitives import serialization

    return key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )


def _write(path: Path, data: bytes) -> None:
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(handle, "wb") as file:
        file.write(data)
