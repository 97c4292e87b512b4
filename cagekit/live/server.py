"""The server of the live page: this machine only, a token in the address, its own page only.

Every request must name the server's own address as host, so that no name that somebody else
points here gets through, and what changes something must come from the server's own page.

Source: RFC 9110, sections 7.2 (Host) and 15.5; RFC 6454 (Origin); WHATWG HTML, section 9.2
(server-sent events); W3C Server Timing.
"""

from __future__ import annotations

import json
import queue
import secrets
import threading
import time
from contextlib import suppress
from hmac import compare_digest
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast
from urllib.parse import parse_qs, urlsplit

from msgspec import UNSET
from msgspec.json import encode

from cagekit.errors import CagekitError, InputError
from cagekit.names import error_words
from cagekit.page.cautions import CAUTIONS
from cagekit.page.html import html, policy

if TYPE_CHECKING:
    from cagekit.live.session import Session

HOST = "127.0.0.1"
MOST = 65536
"""Bytes of the longest request that is read."""
BEAT = 2.0
"""Seconds between signs of life to a page."""


class LiveServer(ThreadingHTTPServer):
    """Serves one session. ``address`` is what a browser is given.

    A browser may come before the session is there: it sees a page that waits until `begin` gives
    the session or `give_up` tells why there is none. ``told`` is set when a page knows of that,
    ``visited`` when a browser has come for the page.
    """

    daemon_threads = True
    allow_reuse_address = False

    def __init__(
        self,
        session: Session | None = None,
        *,
        name: str = "",
        port: int = 0,
        out: Path | None = None,
    ) -> None:
        """Take the port; a free one when 0.

        Args:
            session: what is served, when it is there already.
            name: of the build, for the page that waits.
            port: to serve on.
            out: folder that is made from the page.

        Raises:
            InputError: the port is taken.
        """
        self._session = session
        self.name = name
        self.problem = ""
        self.told = threading.Event()
        self.visited = threading.Event()
        self._settled = threading.Event()
        self.out = out
        self.token = secrets.token_urlsafe(24)
        try:
            super().__init__((HOST, port), LiveHandler)
        except OSError as error:
            raise InputError(
                "--port", "", port, problem=f"cannot be used: {error.strerror}.",
                hint="Leave --port out: a free one is taken.",
            ) from None  # fmt: skip

        if session is not None:
            self._settled.set()

    @property
    def session(self) -> Session:
        """What is served, once `ready`."""
        assert self._session is not None
        return self._session

    @property
    def ready(self) -> bool:
        """Whether there is a session."""
        return self._session is not None

    def begin(self, session: Session) -> None:
        """Serve a session from now on."""
        self._session = session
        self._settled.set()

    def give_up(self, problem: str) -> None:
        """Tell pages that wait why there will be no session."""
        self.problem = problem
        self._settled.set()

    def wait(self, seconds: float) -> None:
        """Wait until there is a session or a word why not."""
        self._settled.wait(seconds)

    @property
    def port(self) -> int:
        """The port in use."""
        return int(self.server_address[1])

    @property
    def address(self) -> str:
        """Address of the page, with the token."""
        return f"http://{HOST}:{self.port}/{self.token}/"

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A page that goes away in the middle of an answer is no fault."""
        import sys

        if not isinstance(sys.exc_info()[1], OSError):
            super().handle_error(request, client_address)


class LiveHandler(BaseHTTPRequestHandler):
    """Answers one page."""

    protocol_version = "HTTP/1.1"
    disable_nagle_algorithm = True
    wbufsize = -1  # head and body in one piece
    server_version = "cagekit"
    sys_version = ""

    @property
    def live(self) -> LiveServer:
        """The server."""
        return cast(LiveServer, self.server)

    def log_message(self, *args: Any) -> None:
        """Say nothing: the terminal is for messages."""

    def do_GET(self) -> None:
        """Page, state, still picture and events."""
        name, query = self._allowed()
        if name == "":
            self.live.visited.set()
        if name is None or self._waits(name):
            return
        session = self.live.session
        if name == "":
            with session.answering():
                text = html({**session.state(), "live": True}, title=session.design.name, live=True)
                self._answer(text.encode(), "text/html; charset=utf-8")
        elif name == "state":
            have = query.get("have", ["0"])[0]
            with session.answering():
                self._json(session.state(int(have) if have.isdecimal() else 0))
        elif name == "still":
            self._answer(session.still(), "image/png")
        elif name == "ready":
            self._json({"ready": True, "problem": ""})
        elif name == "events":
            self._events()
        else:
            self._refuse(404, "There is no such page.")

    def do_POST(self) -> None:
        """Change, undo, redo, save, strength and make."""
        name, _ = self._allowed(changes=True)
        if name is None:
            return
        asked = self._asked()
        if self._waits(name):
            return
        session = self.live.session
        with session.answering():
            try:
                answer = self._do(name, asked)
            except CagekitError as error:
                answer = {**session.state(_count(asked, "have")), "refused": error_words(error)}
            self._json(answer)

    def _waits(self, name: str) -> bool:
        """Whether there is no session yet: then the page that waits is all that is answered."""
        live = self.live
        if name == "ready":
            live.wait(BEAT)
        if live.ready:
            return False
        if name == "":
            waiting = {"name": live.name, "cautions": CAUTIONS, "waiting": True, "live": True}
            page = html(waiting, title=live.name, live=True)
            self._answer(page.encode(), "text/html; charset=utf-8")
        elif name == "ready":
            problem = live.problem
            self._json({"ready": False, "problem": problem})
            if problem:
                live.told.set()
        else:
            self._refuse(503, "The cage is still being put together.")
        return True

    def _do(self, name: str, asked: dict[str, Any]) -> dict[str, Any]:
        session, said = self.live.session, ""
        if name == "change":
            value = UNSET if asked.get("unset") is True else asked.get("value")
            session.change(str(asked.get("key")), value, drag=_count(asked, "drag"))
        elif name == "undo":
            session.undo()
        elif name == "redo":
            session.redo()
        elif name == "save":
            said = session.save()
        elif name == "strength":
            session.work_strength()
        elif name == "make":
            session.make(self.live.out or Path("outputs") / session.design.name)
        else:
            raise InputError("request", problem="there is nothing of that name to do.")
        return {**session.state(_count(asked, "have"), brief=name == "change"), "said": said}

    def _asked(self) -> dict[str, Any]:
        size = self.headers.get("Content-Length", "")
        body = b""
        if size.isdecimal() and int(size) <= MOST:
            body = self.rfile.read(int(size))
        else:
            self.close_connection = True  # what is left unread is no next request
        try:
            asked = json.loads(body)
        except ValueError:
            asked = None
        return asked if isinstance(asked, dict) else {}

    def _allowed(self, *, changes: bool = False) -> tuple[str | None, dict[str, list[str]]]:
        """Name of what is asked for; None after a refusal."""
        own = f"{HOST}:{self.live.port}"
        parts = urlsplit(self.path)
        token, _, name = parts.path.lstrip("/").partition("/")
        origin = self.headers.get("Origin")
        if self.headers.get("Host") != own:
            problem = "This server answers under its own address only."
        elif not compare_digest(token.encode(), self.live.token.encode()):
            problem = "The address lacks the token that `cagekit view` printed."
        elif origin is not None and origin != f"http://{own}":
            problem = "Another page may not drive this one."
        elif changes and origin is None:
            problem = "Only the page itself may change something."
        elif changes and self.headers.get("Content-Type") != "application/json":
            problem = "A change is sent as JSON."
        else:
            return name, parse_qs(parts.query)
        self.close_connection = True
        self._refuse(403, problem)
        return None, {}

    def _refuse(self, status: int, problem: str) -> None:
        self._answer(problem.encode(), "text/plain; charset=utf-8", status)

    def _json(self, data: dict[str, Any]) -> None:
        self._answer(as_json(data), "application/json")

    def parse_request(self) -> bool:
        """Take a request; what the answer takes is counted from here."""
        self._begun = time.perf_counter(), time.thread_time()
        return super().parse_request()

    def _answer(self, body: bytes, kind: str, status: int = 200) -> None:
        self.send_response(status)
        self._headers(kind)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def _headers(self, kind: str) -> None:
        self.send_header("Content-Type", kind)
        wall, busy = self._begun
        took, spent = time.perf_counter() - wall, time.thread_time() - busy
        self.send_header("Server-Timing", f"work;dur={1000 * took:.1f}, cpu;dur={1000 * spent:.1f}")
        self.send_header("Cache-Control", "no-store")
        self.send_header("X-Content-Type-Options", "nosniff")
        self.send_header("Referrer-Policy", "no-referrer")
        self.send_header("Cross-Origin-Resource-Policy", "same-origin")
        self.send_header("Content-Security-Policy", f"{policy(live=True)}; frame-ancestors 'none'")

    def _events(self) -> None:
        """Tell the page what happens until it goes away."""
        session = self.live.session
        heard = session.listen()
        self.close_connection = True
        self.send_response(200)
        self._headers("text/event-stream")
        self.end_headers()
        with suppress(OSError):
            self._send(session.hello())
            while True:
                try:
                    message = heard.get(timeout=BEAT)
                except queue.Empty:
                    message = {}
                self._send(message)
                if message.get("stopped"):
                    break
        session.forget(heard)

    def _send(self, message: dict[str, Any]) -> None:
        self.wfile.write(b"data: " + as_json(message) + b"\n\n")
        self.wfile.flush()


def _count(asked: dict[str, Any], name: str) -> int:
    value = asked.get(name)
    return value if isinstance(value, int) else 0


def as_json(data: dict[str, Any]) -> bytes:
    """What goes to a page; five times as quick as the standard library makes it."""
    return encode(data, enc_hook=_plain)


def _plain(value: Any) -> Any:
    """A number of an array as a plain one."""
    return value.item()
