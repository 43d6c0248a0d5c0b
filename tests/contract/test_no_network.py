"""The guard against the network is guarded: without it, a test could phone home unseen."""

from __future__ import annotations

import socket

import pytest
from pytest_socket import SocketConnectBlockedError


def test_addresses_outside_this_computer_are_refused():
    # 192.0.2.0/24 is set aside for documentation (RFC 5737): nothing answers there.
    # The guard warns and raises; warnings are errors here, so either stops the test.
    with socket.socket() as probe, pytest.raises((SocketConnectBlockedError, UserWarning)):
        probe.connect(("192.0.2.1", 80))


def test_this_computer_is_allowed():
    with socket.create_server(("127.0.0.1", 0)) as server, socket.socket() as probe:
        probe.connect(server.getsockname())
