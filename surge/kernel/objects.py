"""Object files of compiled code: made by the compiler, kept in a folder, loaded without the compiler.

Decisions
---------
* A file is a digest and what it is of: one that was cut off or changed is not loaded. In that stands which
  kinds of arrays and numbers the code takes, since it looks at nothing but addresses: code of other kinds is
  not called.
* It is written beside its name and then put into place, so that another start never reads half of it.
* Folders are tried in this order: that of NUMBA_CACHE_DIR; the one beside the kernel; the user's.
* Of one entry ``KEPT`` files stay in a folder, the newest: those of other processors that share it, and of
  sources that somebody goes back to.
"""

from __future__ import annotations

import hashlib
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import suppress
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any

TROUBLE: list[str] = []  # why compiled code could not be kept; empty when it could
KEPT = 4
DIGEST = 32  # bytes
# Of the mathematical library and the compiler's own: every process has them.
OUTSIDE = frozenset(
    {"memcpy", "memmove", "memset"}
    | {"ceil", "cos", "exp", "fabs", "floor", "fma", "fmax", "fmin", "fmod", "log", "pow", "sin", "sqrt"}
)

_ENGINES: list[Any] = []  # what machine code lives in, for as long as the process


def load(name: str, kinds: str, made_anew: Callable[[], bytes]) -> Callable[..., None]:
    """Return an entry as a function of addresses, from its file, or compiled anew and kept.

    Parameters
    ----------
    name, kinds : str
        Of the entry; of its arguments.
    made_anew : callable
        Compiles the object.

    Raises
    ------
    RuntimeError
        The object cannot be loaded even when it is new.
    """
    found = find(name)
    if found is not None:
        taken, _, code = found.partition(b"\n")
        if taken == kinds.encode():
            with suppress(RuntimeError):  # of another linker's make: compiled anew, it is written anew
                return _linked(code)
    made = made_anew()
    _keep(name, kinds.encode() + b"\n" + made)
    return _linked(made)


def find(name: str) -> bytes | None:
    """Return the object of an entry that is kept whole; None where there is none."""
    for folder in _folders():
        try:
            data = (folder / _file(name)).read_bytes()
        except OSError:
            continue
        if hashlib.sha256(data[DIGEST:]).digest() == data[:DIGEST]:
            return data[DIGEST:]
    return None


def _keep(name: str, made: bytes) -> None:
    """Write an object into the first folder that takes it."""
    why = "no folder for it can be written"
    for folder in _folders():
        try:
            folder.mkdir(parents=True, exist_ok=True)
            _write(folder / _file(name), hashlib.sha256(made).digest() + made)
        except OSError as error:
            why = f"{folder}: {error.strerror}"
            continue
        _tidy(folder, name)
        return
    TROUBLE.append(why)


def _write(path: Path, data: bytes) -> None:
    beside = path.with_name(f"{path.name}.{os.getpid()}")
    try:
        beside.write_bytes(data)
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)


def _tidy(folder: Path, name: str) -> None:
    """Remove older objects of an entry, unless another process does, or the folder does not allow it."""
    with suppress(OSError):
        files = sorted(folder.glob(f"{name}-*.obj"), key=lambda p: p.stat().st_mtime, reverse=True)
        for old in files[KEPT:]:
            old.unlink()


def _folders() -> Iterator[Path]:
    named = os.environ.get("NUMBA_CACHE_DIR")
    if named:
        yield Path(named)
        return
    yield Path(__file__).parent / "__pycache__"
    from platformdirs import user_cache_dir

    yield Path(user_cache_dir("surge", appauthor=False))


def _file(name: str) -> str:
    return f"{name}-{_key()}.obj"


@cache
def _key() -> str:
    """What an object depends on, as a hash."""
    import llvmlite.binding as llvm

    told = hashlib.sha256()
    for path in sorted(Path(__file__).parent.glob("*.py")):
        told.update(path.name.encode() + path.read_bytes())
    versions = (version("numba"), version("llvmlite"), f"{sys.version_info[:2]}", sys.platform)
    machine = (llvm.get_host_cpu_name(), llvm.get_host_cpu_features().flatten())
    told.update(repr((versions, machine)).encode())
    return told.hexdigest()[:24]


def _target(**options: Any) -> Any:
    """The machine at hand, as the compiler's library knows it."""
    import llvmlite.binding as llvm

    llvm.initialize_native_target()
    llvm.initialize_native_asmprinter()
    return llvm.Target.from_default_triple().create_target_machine(**options)


def _linked(made: bytes) -> Callable[..., None]:
    """Load an object; a function of five addresses."""
    import ctypes

    import llvmlite.binding as llvm

    engine = llvm.create_mcjit_compiler(llvm.parse_assembly(""), _target(opt=0, jit=True))
    symbol, _, code = made.partition(b"\0")
    engine.add_object_file(llvm.object_file.ObjectFileRef.from_data(code))
    engine.finalize_object()
    address = engine.get_function_address(symbol.decode())
    if not address:
        raise RuntimeError(f"{symbol.decode()} is not in its object")
    _ENGINES.append(engine)
    # The compiler's convention: a status, where the result goes, where an exception would, the arguments.
    native = ctypes.CFUNCTYPE(ctypes.c_int32, *[ctypes.c_void_p] * 2, *[ctypes.c_uint64] * 5)(address)

    def call(*addresses: int) -> None:
        result, raised = ctypes.c_void_p(), ctypes.c_void_p()
        if status := native(ctypes.addressof(result), ctypes.addressof(raised), *addresses):
            raise RuntimeError(f"the compiled kernel ended with status {status}")

    return call


def compiled(text: str, *, entry: Any, bundle: type) -> bytes:
    """Return the object of an entry behind a way in, with the name of its function before it.

    Parameters
    ----------
    text : str
        Source of ``way_in``, a function of five addresses.
    entry : Entry
    bundle : type
        Of its first argument.

    Raises
    ------
    RuntimeError
        It asks for something that an object which is loaded by itself does not find.
    """
    import llvmlite.binding as llvm
    from numba import njit, types
    from numba.extending import intrinsic

    def array(kind: Any, count: int) -> Any:
        @intrinsic
        def at(_: Any, address: Any, shape: Any) -> Any:
            del address, shape  # their kinds are always the same
            made = types.Array(kind, count, "C")

            def gen(context: Any, builder: Any, __: Any, args: Any) -> Any:
                return _array(context, builder, made, *args)

            return made(types.uint64, types.UniTuple(types.int64, count)), gen

        return at

    kinds = {"f8": types.float64, "i8": types.int64, "u8": types.uint64, "i4": types.int32}
    names: dict[str, Any] = {f"{k}_{n}": array(kind, n) for k, kind in kinds.items() for n in (1, 2, 3)}
    names |= {"entry": entry, "Bundle": bundle}
    exec(text, names)
    options = {"nogil": True, "error_model": "numpy", "no_cpython_wrapper": True, "no_cfunc_wrapper": True}
    signature = types.void(*[types.uint64] * 5)
    made = njit(signature, _nrt=False, **options)(names["way_in"])
    overload_ = made.overloads[signature.args]
    source = overload_.library.get_llvm_str()
    module = llvm.parse_assembly(source)
    symbol = overload_.fndesc.llvm_func_name
    strange = sorted(
        f.name for f in module.functions
        if f.is_declaration and not f.name.startswith("llvm.") and f.name not in OUTSIDE
    )  # fmt: skip
    if strange:
        raise RuntimeError(f"compiled code asks for {', '.join(strange)}")
    features = llvm.get_host_cpu_features().flatten()
    machine = _target(
        cpu=llvm.get_host_cpu_name(), features=features, opt=3, reloc="pic", codemodel="jitdefault", jit=True
    )
    return symbol.encode() + b"\0" + machine.emit_object(module)


def _array(context: Any, builder: Any, made: Any, address: Any, shape: Any) -> Any:
    """An array at an address, for the compiler: contiguous, owned by nobody."""
    from numba import types
    from numba.core import cgutils
    from numba.np.arrayobj import make_array, populate_array

    array = make_array(made)(context, builder)
    item = context.get_abi_sizeof(context.get_data_type(made.dtype))
    size = context.get_constant(types.intp, item)
    sizes = cgutils.unpack_tuple(builder, shape, made.ndim)
    strides = []
    stride = size
    for n in reversed(sizes):
        strides.insert(0, stride)
        stride = builder.mul(stride, n)
    data = builder.inttoptr(address, array.data.type)
    populate_array(array, data=data, shape=sizes, strides=strides, itemsize=size, meminfo=None)
    return array._getvalue()
