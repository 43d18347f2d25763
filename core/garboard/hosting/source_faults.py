"""What a plugin's source shows to be wrong, without running it. The plugin works all the same."""

from __future__ import annotations

import ast
from collections.abc import Iterator, Mapping
from pathlib import Path

from garboard import hooks
from garboard.faults import refuse_endless
from garboard.hosting.failures import PluginProblem, cure_of

_IMPORTS: Mapping[str, str] = {
    **dict.fromkeys(("random", "secrets"), "uses_chance"),
    **dict.fromkeys(("socket", "ssl", "http", "ftplib", "smtplib", "requests", "httpx", "aiohttp"), "uses_network"),
    **dict.fromkeys(("urllib.request", "urllib3", "xmlrpc", "imaplib", "poplib", "telnetlib"), "uses_network"),
    **dict.fromkeys(("subprocess", "multiprocessing", "pty"), "starts_program"),
    **dict.fromkeys(("sqlite3", "shelve", "dbm", "tempfile", "shutil", "fileinput"), "uses_files"),
}
_CALLS: Mapping[str, str] = {
    **dict.fromkeys(("open", "io.open", "os.open", "os.remove", "os.listdir", "os.scandir"), "uses_files"),
    **dict.fromkeys(("os.system", "os.popen", "os.fork", "os.kill"), "starts_program"),
    **dict.fromkeys(
        ("time.time", "time.monotonic", "time.perf_counter", "time.time_ns", "time.localtime"), "uses_clock"
    ),
    **dict.fromkeys(("datetime.now", "datetime.utcnow", "datetime.today", "date.today"), "uses_clock"),
    **dict.fromkeys(("datetime.datetime.now", "datetime.datetime.utcnow", "datetime.date.today"), "uses_clock"),
    **dict.fromkeys(("os.urandom", "uuid.uuid4", "uuid.uuid1"), "uses_chance"),
    **dict.fromkeys(("os._exit", "os.abort", "sys.exit", "exit", "quit", "posix._exit"), "ended_the_program"),
}
_METHODS: Mapping[str, str] = dict.fromkeys(
    ("read_text", "read_bytes", "write_text", "write_bytes", "unlink"), "uses_files"
)
"""Of a path, under whatever name it stands."""

_SAID: Mapping[str, str] = {
    "uses_chance": "it uses {what}: a calculator gives the same findings for the same job",
    "uses_clock": "it uses {what}: a calculator gives the same findings for the same job",
    "uses_network": "it uses {what}: a plugin opens no connection",
    "uses_files": "it uses {what}: a plugin reads and writes no file",
    "starts_program": "it uses {what}: a plugin starts and ends no program",
    "ended_the_program": "it uses {what}: a plugin does not end the program",
}
_HOOKS = frozenset(name for name in hooks.__all__ if name not in ("each_of", "hookimpl"))


def faults_in_source(plugin: str, file: Path) -> Iterator[PluginProblem]:
    """The faults one file of a plugin shows, by line. Nothing for a file that is not here, or is no Python."""
    try:
        refuse_endless(file, "a Python file")
        tree = ast.parse(file.read_bytes())
    except (OSError, SyntaxError, ValueError, RecursionError, MemoryError):
        return
    found = {*_uses(tree), *_hook_faults(tree)}
    for line, code, reason in sorted(found):
        yield PluginProblem(
            name=plugin, reason=reason, code=code, file=str(file), line=line, cure=cure_of(code), at_work=True
        )


_Found = tuple[int, str, str]


def _uses(tree: ast.Module) -> Iterator[_Found]:
    for node in ast.walk(tree):
        for what, code in _used(node):
            yield getattr(node, "lineno", 0), code, _SAID[code].format(what=what)


def _used(node: ast.AST) -> Iterator[tuple[str, str]]:
    if isinstance(node, ast.Import | ast.ImportFrom):
        for name in _imported(node):
            for part in (name, name.partition(".")[0]):
                if part in _IMPORTS:
                    yield name, _IMPORTS[part]
                    break
    elif isinstance(node, ast.Call):
        name = _dotted(node.func)
        method = name.rpartition(".")[2] if "." in name else ""
        if code := _CALLS.get(name) or _METHODS.get(method):
            yield f"{name}()", code


def _imported(node: ast.Import | ast.ImportFrom) -> list[str]:
    if isinstance(node, ast.Import):
        return [one.name for one in node.names]
    return [] if node.level else [f"{node.module}.{one.name}" for one in node.names]


def _dotted(node: ast.AST) -> str:
    """A name as it is written, "Path().read_text" without what stands in brackets."""
    if isinstance(node, ast.Name):
        return node.id
    if isinstance(node, ast.Call):
        return _dotted(node.func)
    return f"{_dotted(node.value)}.{node.attr}" if isinstance(node, ast.Attribute) else ""


def _hook_faults(tree: ast.Module) -> Iterator[_Found]:
    read = {node.id for node in ast.walk(tree) if isinstance(node, ast.Name)}
    for node in tree.body:
        if isinstance(node, ast.FunctionDef) and node.name in _HOOKS:
            arguments = [one.arg for one in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs)]
            if not node.decorator_list:
                if node.name not in read:  # else it is marked elsewhere
                    yield node.lineno, "hook_not_marked", f"{node.name} is not marked as a hook, so it is never called"
            elif "register" not in arguments:
                yield node.lineno, "hook_without_register", f"{node.name} takes no register, so it can offer nothing"
