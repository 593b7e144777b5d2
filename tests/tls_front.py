"""Takes TLS off what comes and passes it on in the clear, as a mail server's or a webhook's own TLS
would: OpenSSL by Python's `ssl`, another implementation than the one under test.

    tls_front.py tls|starttls CERTIFICATE KEY PORT

passes on to PORT of loopback and prints its own port. `starttls`: RFC 3207.
"""

import select
import socket
import ssl
import sys
import threading

how, certificate, key, port = sys.argv[1:]
context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
context.load_cert_chain(certificate, key)


def line(stream):
    """One line, and not a byte more: what follows STARTTLS must be left to TLS."""
    read = b""
    while not read.endswith(b"\r\n"):
        byte = stream.recv(1)
        if not byte:
            raise ConnectionError("the caller went away")
        read += byte
    return read.strip().upper()


def agree_on_tls(caller):
    caller.sendall(b"220 front.example ready\r\n")
    while True:
        said = line(caller)
        if said.startswith(b"EHLO"):
            caller.sendall(b"250-front.example\r\n250 STARTTLS\r\n")
        elif said == b"STARTTLS":
            return caller.sendall(b"220 go on\r\n")
        else:
            # What is said before TLS goes nowhere.
            caller.sendall(b"530 say STARTTLS first\r\n")


def pass_on(secured, behind):
    while True:
        ready = [secured] if secured.pending() else select.select([secured, behind], [], [])[0]
        for one in ready:
            data = one.recv(65536)
            if not data:
                return
            (behind if one is secured else secured).sendall(data)


def serve(caller):
    try:
        with caller:
            if how == "starttls":
                agree_on_tls(caller)
            with (
                context.wrap_socket(caller, server_side=True) as secured,
                socket.create_connection(("127.0.0.1", int(port))) as behind,
            ):
                if how == "starttls":
                    line(behind)  # Its greeting; the caller has had ours.
                pass_on(secured, behind)
    except OSError:
        pass  # A caller that goes away or refuses the certificate.


listener = socket.create_server(("127.0.0.1", 0))
print(listener.getsockname()[1], flush=True)
while True:
    threading.Thread(target=serve, args=(listener.accept()[0],), daemon=True).start()
