"""A small OpenID Connect provider on loopback, over TLS, with real keys made and used by the openssl command. It
checks what a provider must check of a client (PKCE, redirect_uri, secret, a code once), and on demand says wrong
things."""
import base64
import functools
import hashlib
import hmac
import http.server
import json
import os
import re
import ssl
import subprocess
import tempfile
import threading
import time
import urllib.parse

CLIENT, SECRET = "wavepost & sons", "s3cret/with:signs"


def b64(data):
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode()


def openssl(*words, data=None):
    return subprocess.run(["openssl", *words], input=data, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
                          check=True, timeout=60).stdout


class Key:
    """RSA of 2048 bits, or P-256."""

    def __init__(self, folder, kid, curve=False):
        self.path, self.kid, self.curve = os.path.join(folder, kid + ".pem"), kid, curve
        kind = ["-algorithm", "EC", "-pkeyopt", "ec_paramgen_curve:P-256"] if curve else \
            ["-algorithm", "RSA", "-pkeyopt", "rsa_keygen_bits:2048"]
        openssl("genpkey", *kind, "-out", self.path)
        self.public = openssl("pkey", "-in", self.path, "-pubout")

    def jwk(self):
        if self.curve:
            point = openssl("pkey", "-in", self.path, "-pubout", "-outform", "DER")[-64:]
            return {"kty": "EC", "crv": "P-256", "kid": self.kid, "use": "sig", "x": b64(point[:32]),
                    "y": b64(point[32:])}
        modulus = openssl("rsa", "-in", self.path, "-noout", "-modulus").decode().strip().split("=")[1]
        return {"kty": "RSA", "kid": self.kid, "use": "sig", "alg": "RS256", "e": "AQAB",
                "n": b64(bytes.fromhex(modulus))}

    def sign(self, data):
        signature = openssl("dgst", "-sha256", "-sign", self.path, data=data)
        return self.raw(signature) if self.curve else signature

    @staticmethod
    def raw(der):
        """Two numbers of 32 bytes out of ECDSA's DER (RFC 7518, 3.4)."""
        first = der[4:4 + der[3]]
        second = der[6 + der[3]:]
        return b"".join(number.lstrip(b"\0").rjust(32, b"\0") for number in (first, second))


def token(key, claims, header=None, signature=None):
    head = header or {"alg": "ES256" if key.curve else "RS256", "kid": key.kid, "typ": "JWT"}
    text = b64(json.dumps(head).encode()) + "." + b64(json.dumps(claims).encode())
    return text + "." + b64(key.sign(text.encode()) if signature is None else signature(text.encode()))


def with_hmac(secret):
    return lambda text: hmac.new(secret, text, hashlib.sha256).digest()


@functools.lru_cache(maxsize=None)
def keys():
    """Made once for all providers of a run."""
    folder = tempfile.TemporaryDirectory(prefix="wavepost-keys-")
    made = [Key(folder.name, "k1"), Key(folder.name, "k2"), Key(folder.name, "e1", curve=True),
            Key(folder.name, "forger")]
    made[3].kid = "k1"
    private, certificate = os.path.join(folder.name, "tls.key"), os.path.join(folder.name, "tls.crt")
    openssl("req", "-x509", "-newkey", "rsa:2048", "-nodes", "-keyout", private, "-out", certificate, "-days", "2",
            "-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost,IP:127.0.0.1")
    return folder, made, private, certificate


class Provider(http.server.ThreadingHTTPServer):
    daemon_threads = True

    class Handler(http.server.BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def log_message(self, *_):
            pass

        def answer(self, code, body):
            data = body if isinstance(body, bytes) else json.dumps(body).encode()
            self.send_response(code)
            self.send_header("Content-Type", "application/json")
            self.send_header("Content-Length", str(len(data)))
            self.end_headers()
            self.wfile.write(data)

        def do_GET(self):
            self.server.asked.append(self.path)
            if self.path.endswith("/.well-known/openid-configuration"):
                return self.answer(200, self.server.discovery())
            if self.path == "/keys":
                return self.answer(200, self.server.padding + json.dumps(
                    {"keys": [key.jwk() for key in self.server.published]}).encode())
            return self.answer(404, {})

        def do_POST(self):
            length = int(self.headers["Content-Length"])
            form = dict(urllib.parse.parse_qsl(self.rfile.read(length).decode()))
            self.server.asked.append(self.path)
            self.answer(*self.server.change(form, self.headers.get("Authorization", "")))

    def __init__(self, folder, issuer_path="/realm"):
        super().__init__(("127.0.0.1", 0), self.Handler)
        self.folder = folder
        _, (self.key, self.other, self.curve, self.forger), private, self.certificate = keys()
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(self.certificate, private)
        self.socket = context.wrap_socket(self.socket, server_side=True)
        self.base = "https://localhost:%d" % self.server_address[1]
        self.issuer = self.base + issuer_path
        self.published = [self.key, self.curve]
        self.padding = b""
        self.algorithms = ["RS256", "ES256"]
        self.asked, self.codes = [], {}
        self.made = self.honest
        threading.Thread(target=self.serve_forever, daemon=True).start()

    def close(self):
        self.shutdown()
        self.server_close()

    def handle_error(self, *_):
        pass  # a client that does not trust us hangs up

    def discovery(self):
        return {"issuer": self.issuer, "authorization_endpoint": self.base + "/authorize?realm=1",
                "token_endpoint": self.base + "/token", "jwks_uri": self.base + "/keys",
                "id_token_signing_alg_values_supported": self.algorithms}

    def sign_in(self, url, name):
        """The person signs in where the browser was sent: the answer's query."""
        parts = urllib.parse.urlsplit(url)
        asked = dict(urllib.parse.parse_qsl(parts.query))
        assert url.startswith(self.base + "/authorize?realm=1&"), url
        assert asked["response_type"] == "code" and asked["code_challenge_method"] == "S256", asked
        assert asked["client_id"] == CLIENT and "openid" in asked["scope"].split(), asked
        assert re.fullmatch(r"[\w-]{43}", asked["code_challenge"]) and len(asked["state"]) >= 43, asked
        code = b64(os.urandom(16))
        self.codes[code] = {**asked, "name": name}
        return {"code": code, "state": asked["state"]}

    def change(self, form, authorization):
        flow = self.codes.pop(form.get("code"), None)
        pair = urllib.parse.quote(CLIENT, safe="") + ":" + urllib.parse.quote(SECRET, safe="")
        if authorization != "Basic " + base64.b64encode(pair.encode()).decode():
            return 401, {"error": "invalid_client"}
        verifier = form.get("code_verifier", "")
        if (not flow or form.get("grant_type") != "authorization_code"
                or form.get("redirect_uri") != flow["redirect_uri"]
                or b64(hashlib.sha256(verifier.encode()).digest()) != flow["code_challenge"]):
            return 400, {"error": "invalid_grant"}
        return 200, {"access_token": "x", "token_type": "Bearer", "id_token": self.made(flow)}

    def claims(self, flow, **other):
        now = int(time.time())
        claims = {"iss": self.issuer, "aud": CLIENT, "sub": "1-" + flow["name"], "exp": now + 300, "iat": now,
                  "nonce": flow["nonce"], "preferred_username": flow["name"],
                  "email": flow["name"] + "@college.example", "email_verified": True}
        claims.update(other)
        return {name: value for name, value in claims.items() if value is not None}

    def honest(self, flow):
        return token(self.key, self.claims(flow))
