"""A small CONNECT proxy (RFC 9110, 9.3.6) for the tests of the agent. Loopback; standard library only."""
import base64
import selectors
import socket
import threading

HEAD_MOST = 16384


class Proxy:
    """`login`: "name:password" that is asked for; `answer`: a status line instead of connecting."""

    def __init__(self, login=None, answer=None):
        self.login, self.answer = login, answer
        self.asked, self.tunnels = [], 0
        self.server = socket.create_server(("127.0.0.1", 0))
        self.port = self.server.getsockname()[1]
        self.open = [self.server]
        threading.Thread(target=self.accept, daemon=True).start()

    @property
    def url(self):
        return "http://127.0.0.1:%d" % self.port

    def accept(self):
        while True:
            try:
                client, _ = self.server.accept()
            except OSError:
                return
            self.open.append(client)
            threading.Thread(target=self.serve, args=(client,), daemon=True).start()

    def head(self, client):
        data = b""
        while b"\r\n\r\n" not in data and len(data) < HEAD_MOST:
            part = client.recv(4096)
            if not part:
                return None
            data += part
        return data.decode("latin-1").split("\r\n")

    def refusal(self, lines):
        wanted = self.login and "Basic " + base64.b64encode(self.login.encode()).decode()
        given = [line.split(":", 1)[1].strip() for line in lines if line.lower().startswith("proxy-authorization:")]
        if wanted and given != [wanted]:
            return "407 Proxy Authentication Required\r\nProxy-Authenticate: Basic realm=\"campus\""
        return self.answer

    def serve(self, client):
        try:
            lines = self.head(client)
            if not lines:
                return
            method, target, _ = lines[0].split(" ")
            self.asked.append(target)
            refusal = self.refusal(lines) if method == "CONNECT" else "405 Method Not Allowed"
            if refusal:
                client.sendall(("HTTP/1.1 %s\r\nContent-Length: 0\r\nConnection: close\r\n\r\n" % refusal).encode())
                return
            host, port = target.rsplit(":", 1)
            peer = socket.create_connection((host, int(port)), 10)
            self.open.append(peer)
            client.sendall(b"HTTP/1.1 200 Connection established\r\n\r\n")
            self.tunnels += 1
            self.pass_on(client, peer)
        except (OSError, ValueError):
            pass
        finally:
            client.close()

    def pass_on(self, client, peer):
        with selectors.DefaultSelector() as ready:
            ready.register(client, selectors.EVENT_READ, peer)
            ready.register(peer, selectors.EVENT_READ, client)
            while True:
                for key, _ in ready.select(120):
                    data = key.fileobj.recv(65536)
                    if not data:
                        peer.close()
                        return
                    key.data.sendall(data)

    def stop(self):
        for sock in self.open:
            try:
                sock.shutdown(socket.SHUT_RDWR)
            except OSError:
                pass
            sock.close()
