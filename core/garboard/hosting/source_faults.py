"""What a plugin's source shows to be wrong, without running it. The plugin works all the same."""

from __future__ import annotations

import ast
from collections.abc import Collection, Iterator, Mapping
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
    **dict.fromkeys(("input", "breakpoint", "pdb.set_trace"), "waits_for_input"),
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
    "waits_for_input": "it uses {what}: nobody can answer while a job is judged",
    "ended_the_program": "it uses {what}: a plugin does not end the program",
}
_HOOKS = frozenset(name for name in hooks.__all__ if name not in ("each_of", "hookimpl"))


def faults_in_source(plugin: str, file: Path) -> Iterator[PluginProblem]:
    """The faults one file of a plugin shows, by line. Nothing for a file that is not here, or is no Python."""
    if (tree := _tree_of(file)) is None:
        return
    found = {*_uses(tree), *_hook_faults(tree), *_swallowed(tree), *_kept(tree), *_in_no_order(tree), *_as_yes(tree)}
    for line, code, reason in sorted(found):
        yield PluginProblem(
            name=plugin, reason=reason, code=code, file=str(file), line=line, cure=cure_of(code), at_work=True
        )


def line_of_name(file: Path, name: str) -> int:
    """The line in which a file gives something this name; 0 where it does not."""
    tree = _tree_of(file)
    nodes = ast.walk(tree) if tree else ()
    lines = (
        one.lineno for one in nodes if isinstance(one, ast.Name) and one.id == name and isinstance(one.ctx, ast.Store)
    )
    return next(lines, 0)


def _tree_of(file: Path) -> ast.Module | None:
    try:
        refuse_endless(file, "a Python file")
        return ast.parse(file.read_bytes())
    except (OSError, SyntaxError, ValueError, RecursionError, MemoryError):
        return None


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


def _swallowed(tree: ast.Module) -> Iterator[_Found]:
    """Where whatever goes wrong is passed over: a value that is not entered, too."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Try):
            for handler in node.handlers:
                catches_all = handler.type is None or _dotted(handler.type) in ("Exception", "BaseException")
                says_so = any(isinstance(inner, ast.Raise | ast.Yield) for inner in ast.walk(handler))
                named = any(_dotted(inner.type) == "NotEnoughData" for inner in _before(node, handler) if inner.type)
                if catches_all and not says_so and not named and _asks(node.body):
                    reason = "it passes over every error here, so what is not entered passes as well"
                    yield handler.lineno, "swallows_errors", reason


def _before(node: ast.Try, handler: ast.ExceptHandler) -> list[ast.ExceptHandler]:
    return node.handlers[: node.handlers.index(handler)]


def _asks(body: list[ast.stmt]) -> bool:
    """Whether something is asked of a job here."""
    calls = (inner for line in body for inner in ast.walk(line) if isinstance(inner, ast.Call))
    return any(_dotted(call.func).rpartition(".")[2] in _ASKING for call in calls)


_ASKING = frozenset(("asking", "check", "amount", "choice", "yes", "known", "recording", "setting_value"))
_CHANGES_IT = frozenset(("append", "extend", "insert", "add", "update", "setdefault", "pop", "clear", "remove"))


def _kept(tree: ast.Module) -> Iterator[_Found]:
    """Where a function changes a list, a dict or a set of the whole file, or a name of it."""
    made = {name for node in tree.body for name in _collections(node)}
    yield from _kept_in_defaults(tree)
    for function in (node for node in tree.body if isinstance(node, ast.FunctionDef)):
        if any(one.arg == "register" for one in function.args.args):
            continue  # a hook, called once
        own = {node.id for node in ast.walk(function) if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store)}
        shared = made - own - {one.arg for one in ast.walk(function) if isinstance(one, ast.arg)}
        for node in ast.walk(function):
            name = _changed(node)
            if isinstance(node, ast.Global) or name in shared:
                what = name or ", ".join(getattr(node, "names", ()))
                yield getattr(node, "lineno", 0), "keeps_state", f"it keeps {what} from one job to the next"


def _kept_in_defaults(tree: ast.Module) -> Iterator[_Found]:
    """Where a function changes what its argument stands for when nothing is given: that is made once."""
    for function in (node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)):
        arguments = function.args.args[len(function.args.args) - len(function.args.defaults) :]
        made = {
            argument.arg
            for argument, default in zip(arguments, function.args.defaults, strict=True)
            if isinstance(default, ast.List | ast.Dict | ast.Set)
        }
        for node in ast.walk(function):
            if (name := _changed(node)) in made:
                yield getattr(node, "lineno", 0), "keeps_state", f"it keeps {name} from one job to the next"


def _collections(node: ast.stmt) -> Iterator[str]:
    value = node.value if isinstance(node, ast.Assign | ast.AnnAssign) else None
    kinds = (ast.List, ast.Dict, ast.Set, ast.ListComp, ast.DictComp, ast.SetComp)
    is_one = isinstance(value, kinds) or (isinstance(value, ast.Call) and _dotted(value.func) in _MADE_BY)
    if is_one and isinstance(node, ast.Assign | ast.AnnAssign):
        targets = node.targets if isinstance(node, ast.Assign) else [node.target]
        yield from (target.id for target in targets if isinstance(target, ast.Name))


_MADE_BY = frozenset(("list", "dict", "set", "defaultdict", "deque", "Counter", "collections.defaultdict"))


def _changed(node: ast.AST) -> str:
    """The name of what a step changes in place; "" for any other step."""
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in _CHANGES_IT:
        return _dotted(node.func.value)
    if isinstance(node, ast.Subscript) and isinstance(node.ctx, ast.Store | ast.Del):
        return _dotted(node.value)
    return ""


def _as_yes(tree: ast.Module) -> Iterator[_Found]:
    """Where something stands for yes or no that is neither: what check() gives, and a value that may not be entered."""
    values = {
        target.id
        for node in ast.walk(tree)
        if isinstance(node, ast.Assign) and _method(node.value) == "value"
        for target in node.targets
        if isinstance(target, ast.Name)
    } - _compared_with_none(tree)
    for node in ast.walk(tree):
        if isinstance(node, ast.If | ast.IfExp | ast.While):
            is_turned = isinstance(test := node.test, ast.UnaryOp) and isinstance(test.op, ast.Not)
            asked = test.operand if isinstance(test, ast.UnaryOp) else test
            if _method(asked) == "check":
                yield asked.lineno, "check_gives_nothing", "it looks at what check() gives, which is always None"
            is_value = _method(asked) == "value" or (isinstance(asked, ast.Name) and asked.id in values)
            if is_value and _fails_in(node.body if is_turned else node.orelse):
                yield asked.lineno, "not_entered_is_no", "it fails what is not entered, as if it were a no"


def _fails_in(branch: ast.expr | list[ast.stmt]) -> bool:
    parts = branch if isinstance(branch, list) else [branch]
    return any(_dotted(node) == "Verdict.FAIL" for part in parts for node in ast.walk(part))


def _method(node: ast.AST) -> str:
    """The name of the method that is called here, of something called as a view or a collector is."""
    if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)):
        return ""
    return node.func.attr if _dotted(node.func.value).rpartition(".")[2] in ("view", "asking") else ""


def _compared_with_none(tree: ast.Module) -> set[str]:
    """Names that some line compares with None, by "is" or otherwise."""
    compared = (node for node in ast.walk(tree) if isinstance(node, ast.Compare))
    return {
        part.id
        for node in compared
        if any(isinstance(one, ast.Constant) and one.value is None for one in node.comparators)
        for part in ast.walk(node.left)
        if isinstance(part, ast.Name)
    }


def _in_no_order(tree: ast.Module) -> Iterator[_Found]:
    """Where findings are given in the order of a set: it is another at each start."""
    assigned = [
        (target.id, node.value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Assign)
        for target in node.targets
        if isinstance(target, ast.Name)
    ]
    others = {name for name, value in assigned if not _is_set(value, ())}
    sets = {name for name, _ in assigned} - others
    for node in ast.walk(tree):
        if any(_is_set(one, sets) for one in _gives_findings_over(node)):
            reason = "it gives findings in the order of a set, which is another at each start"
            yield getattr(node, "lineno", 0), "order_by_chance", reason


def _gives_findings_over(node: ast.AST) -> list[ast.expr]:
    """What is gone through where each turn gives a finding."""
    if isinstance(node, ast.For) and any(isinstance(one, ast.Yield) for one in ast.walk(node)):
        return [node.iter]
    if isinstance(node, ast.ListComp | ast.GeneratorExp):
        calls = (one for one in ast.walk(node.elt) if isinstance(one, ast.Call))
        return [one.iter for one in node.generators] if any(_dotted(one.func) == "Finding" for one in calls) else []
    return []


def _is_set(node: ast.AST, names: Collection[str]) -> bool:
    is_made = isinstance(node, ast.Call) and _dotted(node.func) in ("set", "frozenset")
    return is_made or isinstance(node, ast.Set | ast.SetComp) or (isinstance(node, ast.Name) and node.id in names)


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
