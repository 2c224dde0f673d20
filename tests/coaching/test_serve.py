"""What `make run` says when it cannot start, and where it puts things."""

from __future__ import annotations

import datetime
import ipaddress
import os
import socket
import ssl
import stat
from pathlib import Path

import pytest
from cryptography import x509

from coaching import certificate, serve


def test_a_taken_port_is_one_sentence() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(serve.CannotStart) as refused:
            serve.listen("127.0.0.1", port)
    assert str(refused.value) == (
        f"Port {port} is taken: stop what uses it, or choose another, "
        f"as in 'make run PORT={port + 1}'."
    )


@pytest.mark.parametrize("text", ["http", "-1", "65536", "80.5"])
def test_a_port_that_is_none_is_refused(monkeypatch: pytest.MonkeyPatch, text: str) -> None:
    monkeypatch.setenv("PORT", text)
    with pytest.raises(serve.CannotStart, match="PORT must be a number from 0 to 65535"):
        serve.port_wanted()


def test_the_port_is_8000_unless_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("PORT", raising=False)
    assert serve.port_wanted() == 8000
    monkeypatch.setenv("PORT", "8443")
    assert serve.port_wanted() == 8443


def test_a_folder_serves_once(tmp_path: Path) -> None:
    lock = tmp_path / "serve.lock"
    with (
        serve.only_one(lock),
        pytest.raises(serve.CannotStart) as refused,
        serve.only_one(lock),
    ):
        raise AssertionError("two at once")
    assert f"already (process {os.getpid()})" in str(refused.value)
    with serve.only_one(lock):
        pass


def test_the_broker_socket_lies_in_the_folder_while_its_path_is_short(tmp_path: Path) -> None:
    short = Path("/srv/causeway/var")
    with serve.socket_path(short) as path:
        assert path == short / "broker.sock"
    long = tmp_path / ("a" * 60) / ("b" * 60)
    with serve.socket_path(long) as path:
        assert len(os.fsencode(path)) < serve.SOCKET_PATH_MAX
        with socket.socket(socket.AF_UNIX) as listener:
            listener.bind(str(path))
        temporary = path.parent
    assert not temporary.exists()


def test_the_certificate_names_this_machine_and_is_kept(tmp_path: Path) -> None:
    first, key = certificate.self_signed(tmp_path, addresses={"127.0.0.1", "192.0.2.7"})
    made = x509.load_pem_x509_certificate(first.read_bytes())
    names = made.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert names.get_values_for_type(x509.DNSName) == ["localhost"]
    assert set(names.get_values_for_type(x509.IPAddress)) == {
        ipaddress.ip_address("127.0.0.1"),
        ipaddress.ip_address("192.0.2.7"),
    }
    assert made.not_valid_after_utc - made.not_valid_before_utc < datetime.timedelta(days=399)
    assert stat.S_IMODE(key.stat().st_mode) == 0o600
    ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(first, key)  # they belong together

    kept = first.read_bytes()
    certificate.self_signed(tmp_path, addresses={"127.0.0.1"})
    assert first.read_bytes() == kept
    certificate.self_signed(tmp_path, addresses={"127.0.0.1", "192.0.2.8"})
    assert first.read_bytes() != kept
