"""A passkey in software: makes and signs what an authenticator and its browser would."""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass, field
from typing import Any

from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from fido2.cose import ES256
from fido2.utils import websafe_encode
from fido2.webauthn import (
    AttestationObject,
    AttestedCredentialData,
    AuthenticatorData,
    CollectedClientData,
)

SITE = "testserver"
ORIGIN = f"https://{SITE}"
FLAG = AuthenticatorData.FLAG


@dataclass
class Passkey:
    """One credential. `user` is the handle that the site gave when it was made."""

    rp: str = SITE
    user: str = ""
    key: ec.EllipticCurvePrivateKey = field(
        default_factory=lambda: ec.generate_private_key(ec.SECP256R1())
    )
    id: bytes = field(default_factory=lambda: secrets.token_bytes(16))

    def made(self, options: dict[str, Any], *, origin: str = ORIGIN) -> dict[str, Any]:
        """The answer to a site's options for making a credential."""
        told = options["publicKey"]
        self.user = told["user"]["id"]
        client = CollectedClientData.create("webauthn.create", told["challenge"], origin)
        public = ES256.from_cryptography_key(self.key.public_key())
        data = AuthenticatorData.create(
            hashlib.sha256(self.rp.encode()).digest(),
            FLAG.UP | FLAG.UV | FLAG.AT,
            0,
            AttestedCredentialData.create(bytes(16), self.id, public),
        )
        attested = AttestationObject.create("none", data, {})
        return self._whole(
            clientDataJSON=websafe_encode(client), attestationObject=websafe_encode(attested)
        ) | {"clientExtensionResults": {"credProps": {"rk": True}}}

    def signed(
        self, options: dict[str, Any], *, origin: str = ORIGIN, verified: bool = True
    ) -> dict[str, Any]:
        """The answer to a site's options for signing in."""
        challenge = options["publicKey"]["challenge"]
        client = CollectedClientData.create("webauthn.get", challenge, origin)
        flags = FLAG.UP | FLAG.UV if verified else FLAG.UP
        data = AuthenticatorData.create(hashlib.sha256(self.rp.encode()).digest(), flags, 0)
        signature = self.key.sign(data + client.hash, ec.ECDSA(hashes.SHA256()))
        return self._whole(
            clientDataJSON=websafe_encode(client),
            authenticatorData=websafe_encode(data),
            signature=websafe_encode(signature),
            userHandle=self.user,
        )

    def _whole(self, **response: str) -> dict[str, Any]:
        mine = websafe_encode(self.id)
        return {"id": mine, "rawId": mine, "type": "public-key", "response": response,
                "clientExtensionResults": {}}  # fmt: skip
