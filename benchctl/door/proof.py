"""Proving the secret of a card to each other without sending it: HMAC-SHA-256 (RFC 2104) over both sides' nonces.

Each connection has new nonces, so a proof that was listened to is worth nothing in the next one; the side's name is
part of it, so neither can be answered with its own. A stranger on the port of a host that is gone learns nothing.
"""

import hmac
import secrets

from benchctl.door.messages import PROTOCOL

CLIENT, HOST = "client", "host"


def new_secret() -> str:
    """32 random bytes."""
    return secrets.token_urlsafe(32)


def new_nonce() -> str:
    """24 random bytes."""
    return secrets.token_urlsafe(24)


def proof(secret: str, side: str, host_nonce: str, client_nonce: str) -> str:
    """What a side sends to show that it knows the secret: 64 hexadecimal digits."""
    said = f"benchctl {PROTOCOL} {side} {host_nonce} {client_nonce}"
    return hmac.new(secret.encode(), said.encode(), "sha256").hexdigest()


def proven(given: str, secret: str, side: str, host_nonce: str, client_nonce: str) -> bool:
    """True when the other side knows the secret. Takes as long whatever was given."""
    return hmac.compare_digest(given.encode(), proof(secret, side, host_nonce, client_nonce).encode())
