"""Small changes to a module's code, each of which some test should notice.

What is changed: comparisons, sums and products, signs, ``and`` and ``or``, conditions (turned round), numbers, words
that are compared or looked up, pairs of names such as ``min`` and ``max`` or ``left`` and ``right``, values added to a
thing, calls made for what they do. Left alone: docstrings, annotations, decorators, what is said where something is
refused, assertions, f-strings, imports, and the sides of a union of types.
"""

import ast
import copy
import types
from dataclasses import dataclass

OPERATORS = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In, ast.And: ast.Or, ast.Or: ast.And,
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Mult,
    ast.Mod: ast.FloorDiv, ast.Pow: ast.Mult, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd, ast.BitXor: ast.BitAnd,
    ast.LShift: ast.RShift, ast.RShift: ast.LShift, ast.MatMult: ast.Add,
}  # fmt: skip
PAIRS = [("min", "max"), ("minimum", "maximum"), ("argmin", "argmax"), ("floor", "ceil"), ("any", "all"),
         ("zeros", "ones"), ("nanmin", "nanmax"), ("left", "right"), ("mean", "sum")]  # fmt: skip
OTHERS = {a: b for pair in PAIRS for a, b in (pair, pair[::-1])}
#: Fields of a node that hold no behaviour that is tested here.
QUIET = {"annotation", "returns", "decorator_list", "type_params", "bases", "keywords_of_class"}
CONDITIONS = (ast.If, ast.IfExp, ast.While)


@dataclass(frozen=True)
class Mutant:
    """One change: in which module and line, what stood there and stands there now, and where it is in the tree.

    `lines` are those of the statement that holds it, or of its head if it holds others.
    """

    module: str
    line: int
    text: str
    lines: range
    before: str
    after: str
    steps: tuple
    node: ast.AST

    def __str__(self):
        return f"{self.module}:{self.line}  {self.text}    {self.before}  ->  {self.after}"

    def tree(self, source):
        """Return the module's tree with the change in it."""
        tree = ast.parse(source)
        holder = tree
        for step in self.steps[:-1]:
            holder = holder[step] if isinstance(step, int) else getattr(holder, step)
        last = self.steps[-1]
        if isinstance(last, int):
            holder[last] = self.node
        else:
            setattr(holder, last, self.node)
        return ast.fix_missing_locations(tree)


def mutants(source, module):
    """Return every change to a module's source, in the order of its lines."""
    tree, text = ast.parse(source), source.splitlines()
    return [
        Mutant(module, node.lineno, text[node.lineno - 1].strip(), lines, _text(node), _text(new), steps, new)
        for node, steps, lines in _places(tree, (), range(1, 2))
        for new in _changes(node)
    ]


def _text(node):
    """Return a node's code in one line; of a statement that holds others, its condition."""
    if isinstance(node, (ast.If, ast.While)):
        node = node.test
    return " ".join(ast.unparse(node).split())


def _places(node, steps, lines):
    """Yield each node that may be changed, the steps to it from the top, and the lines of its statement's head."""
    if isinstance(node, ast.stmt):
        lines = _head(node)
    if hasattr(node, "lineno"):
        yield node, steps, lines
    for name, value in ast.iter_fields(node):
        if name in QUIET or (name == "keywords" and isinstance(node, ast.ClassDef)):
            continue
        many = isinstance(value, list)
        for i, child in enumerate(value if many else [value]):
            if isinstance(child, ast.AST) and not _left_alone(child, node):
                yield from _places(child, (*steps, name, i) if many else (*steps, name), lines)


def _head(statement):
    body = getattr(statement, "body", None) or getattr(statement, "cases", None)
    first = getattr(body[0], "lineno", body[0].pattern.lineno if hasattr(body[0], "pattern") else 0) if body else None
    return range(statement.lineno, max(first, statement.lineno + 1) if first else statement.end_lineno + 1)


def _left_alone(node, holder):
    if isinstance(node, ast.Expr):
        return isinstance(node.value, ast.Constant)
    if isinstance(node, ast.Assign):
        return any(isinstance(t, ast.Name) and t.id == "__all__" for t in node.targets) or _is_type(node.value, node)
    if isinstance(node, ast.Subscript):
        return isinstance(node.value, ast.Name) and node.value.id in {"Literal", "NDArray"}
    if isinstance(node, ast.Call):
        return isinstance(node.func, ast.Name) and node.func.id in {"cast", "TypeVar", "NewType", "InputError"}
    if isinstance(node, ast.keyword):
        return node.arg == "strict"  # of zip: an assertion
    return isinstance(node, (ast.Raise, ast.Assert, ast.JoinedStr, ast.Import, ast.ImportFrom))


def _is_type(value, assign):
    """Whether a statement at the top names a type, such as ``Pair = tuple[int, int] | None``."""
    names = [t.id for t in assign.targets if isinstance(t, ast.Name)]
    parts = [
        n for n in ast.walk(value) if isinstance(n, (ast.Constant, ast.Call)) and getattr(n, "value", 0) is not None
    ]
    union = isinstance(value, (ast.Subscript, ast.BinOp))
    return bool(names) and names[0][:1].isupper() and not names[0].isupper() and union and not parts


def _changes(node):
    """Yield what may stand in a node's place."""
    match node:
        case ast.Compare(ops=ops):
            for i, op in enumerate(ops):
                yield _with(node, ops=[*ops[:i], OPERATORS[type(op)](), *ops[i + 1 :]])
        case ast.BinOp(op=op) | ast.BoolOp(op=op) | ast.AugAssign(op=op):
            yield _with(node, op=OPERATORS[type(op)]())
        case ast.UnaryOp(op=ast.USub() | ast.Not() | ast.Invert(), operand=operand):
            yield copy.deepcopy(operand)
        case ast.Constant(value=bool() as value):
            yield _with(node, value=not value)
        case ast.Constant(value=int() as value):
            yield _with(node, value=value + 1)
        case ast.Constant(value=float() as value):
            yield _with(node, value=2 * value if value else 1.0)
        case ast.Constant(value=str() as value) if value in OTHERS:
            yield _with(node, value=OTHERS[value])
        case ast.Name(id=name) if name in OTHERS and isinstance(node.ctx, ast.Load):
            yield _with(node, id=OTHERS[name])
        case ast.Attribute(attr=name) if name in OTHERS and isinstance(node.ctx, ast.Load):
            yield _with(node, attr=OTHERS[name])
        case ast.Expr(value=ast.Call()):
            yield ast.copy_location(ast.Pass(), node)
        case ast.Break():
            yield ast.copy_location(ast.Continue(), node)
        case ast.Continue():
            yield ast.copy_location(ast.Break(), node)
    yield from _turned(node)


def _turned(node):
    """Yield a bare condition turned round, and a compared or looked-up word altered."""
    if isinstance(node, CONDITIONS) and not isinstance(node.test, (ast.Compare, ast.UnaryOp, ast.BoolOp)):
        yield _with(node, test=ast.UnaryOp(ast.Not(), node.test))
    if isinstance(node, ast.Compare):
        for i, side in enumerate((node.left, *node.comparators)):
            if isinstance(side, ast.Constant) and isinstance(side.value, str) and side.value not in OTHERS:
                sides = [node.left, *node.comparators]
                sides[i] = ast.Constant(side.value + "?")
                yield _with(node, left=sides[0], comparators=sides[1:])


def _with(node, **fields):
    """Return a node with some fields changed; the rest it shares."""
    new = copy.copy(node)
    for name, value in fields.items():
        setattr(new, name, value)
    return new


def put_in(mutant, source, module, others):
    """Make a loaded module do what the mutant says, for all who hold its functions, classes and constants.

    A function keeps its identity and takes the new code and defaults. A constant is exchanged wherever one of the
    `others` holds it under its name.
    """
    fresh = types.ModuleType(module.__name__)
    fresh.__dict__.update({name: vars(module)[name] for name in ("__package__", "__file__", "__spec__")})
    tree = mutant.tree(source)
    exec(compile(tree, module.__file__, "exec"), fresh.__dict__)
    statement = tree.body[mutant.steps[1]]
    if isinstance(statement, (ast.FunctionDef, ast.ClassDef)):
        _take_over(vars(module)[statement.name], vars(fresh)[statement.name])
        return
    names = _names(statement, ast.Store)
    for later in tree.body[mutant.steps[1] + 1 :]:  # what is made of it, too
        if isinstance(later, (ast.Assign, ast.AnnAssign)) and _names(later, ast.Load) & names:
            names |= _names(later, ast.Store)
    for name in names & vars(module).keys():
        held = vars(module)[name]
        for other in others:
            if vars(other).get(name, other) is held:
                setattr(other, name, vars(fresh)[name])


def _names(statement, context):
    return {n.id for n in ast.walk(statement) if isinstance(n, ast.Name) and isinstance(n.ctx, context)}


def _take_over(old, new):
    if isinstance(new, type):
        for name, value in vars(new).items():
            held = vars(old).get(name)
            if _function(value) is not None:
                _take_over(held, value)
            elif not name.startswith("__") and not callable(value) and not hasattr(value, "__get__"):
                setattr(old, name, value)
        return
    old, new = _function(old), _function(new)
    old.__code__, old.__defaults__, old.__kwdefaults__ = new.__code__, new.__defaults__, new.__kwdefaults__


def _function(value):
    """Return the function inside a property, a method of the class, a cache or another wrapper."""
    for name in ("fget", "func", "__func__", "__wrapped__"):
        if (inner := getattr(value, name, None)) is not None and not isinstance(value, type):
            return _function(inner)
    return value if isinstance(value, types.FunctionType) else None
