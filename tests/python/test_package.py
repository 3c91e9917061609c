"""The package around the functions: versions, documentation, stubs, examples, wheel."""
import doctest
import inspect
import os
import re
import subprocess
import sys
import tomllib
import zipfile

import pytest

import kurbel
from conftest import DATASETS, SOURCE


def test_all_versions_are_one():
    header = (SOURCE / "include/kurbel/core/version.hpp").read_text()
    version = re.search(r'VERSION_STRING "([^"]+)"', header).group(1)
    numbers = [re.search(rf"VERSION_{part} (\d+)", header).group(1) for part in ("MAJOR", "MINOR", "PATCH")]
    assert ".".join(numbers) == version == kurbel.__version__


def test_every_public_name_is_documented():
    for name in kurbel.__all__:
        thing = getattr(kurbel, name)
        if not (inspect.isclass(thing) or inspect.isfunction(thing)):
            continue
        assert thing.__doc__, name
        for member, value in vars(thing).items():
            if not member.startswith("_") and (inspect.isfunction(value) or isinstance(value, (property, classmethod))):
                assert inspect.getdoc(getattr(thing, member)), f"{name}.{member}"
    for section in ("Parameters", "Returns", "Raises", "Examples"):
        assert section in kurbel.analyze.__doc__


def test_signatures_are_documented():
    for parameter in inspect.signature(kurbel.analyze).parameters:
        assert re.search(rf"^ +{parameter} : ", kurbel.analyze.__doc__, re.M), parameter


def test_examples_run():
    results = doctest.testmod(
        sys.modules["kurbel._analyze"], extraglobs={"datasets": os.fspath(DATASETS)}, raise_on_error=False
    )
    assert results.attempted > 0
    assert results.failed == 0


def test_stub_names_what_the_module_has():
    stub = (SOURCE / "bindings/python/kurbel/_core.pyi").read_text()
    core = sys.modules["kurbel._core"]
    names = {name for name in vars(core) if not name.startswith("__") or name == "__version__"}
    in_stub = set(re.findall(r"^(?:class|def) (\w+)", stub, re.M)) | set(re.findall(r"^(\w+):", stub, re.M))
    assert names == in_stub
    for class_name, body in re.findall(r"^class (\w+)\S*:\n((?: .*\n|\n(?= ))*)", stub, re.M):
        members = set(re.findall(r"def (\w+)", body)) - {"__init__"}
        has = {name for name in vars(getattr(core, class_name)) if not name.startswith("_")}
        assert members == has, class_name


def test_import_is_light():
    """Nothing but NumPy is imported, pandas in particular is not."""
    code = "import sys, kurbel; print([m for m in ('pandas', 'scipy', 'matplotlib') if m in sys.modules])"
    run = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    assert run.stdout.strip() == "[]"


def build(hook, source, target, settings=None):
    """Calls a hook of the build backend that pyproject.toml names, as a PEP 517 front end does, without a network."""
    backend = tomllib.loads((source / "pyproject.toml").read_text())["build-system"]
    path = [os.fspath(source / folder) for folder in backend["backend-path"]]
    code = f"import sys; sys.path[:0] = {path!r}; import {backend['build-backend']} as b; print(b.{hook}({os.fspath(target)!r}, {settings!r}))"
    run = subprocess.run([sys.executable, "-W", "ignore", "-c", code], cwd=source, capture_output=True, text=True)
    assert run.returncode == 0, run.stdout + run.stderr
    return target / run.stdout.splitlines()[-1]


def test_wheel_builds_offline_from_the_source_archive_and_imports(tmp_path):
    """Source archive, then the wheel from nothing else, then the package from another place."""
    source = tmp_path / "source"
    source.mkdir()
    for part in ("CMakeLists.txt", "LICENSE", "README.md", "pyproject.toml", "include", "src", "bindings"):
        os.symlink(SOURCE / part, source / part)
    subprocess.run(["tar", "-xzf", build("build_sdist", source, tmp_path), "-C", tmp_path], check=True)
    unpacked = tmp_path / f"kurbel-{kurbel.__version__}"
    assert not list(unpacked.rglob("*.pyc"))
    # The same flags and the same folder beside the sources as this build's: the compiler cache of .ci/test, if it is there,
    # knows every object whose source is the same to the byte, and only what differs is compiled.
    settings = {"build-dir": os.fspath(unpacked / "build/wheel"), "cmake-args": "-DKURBEL_WARNINGS_AS_ERRORS=ON"}
    wheel = build("build_wheel", unpacked, tmp_path, settings)
    assert kurbel.__version__ in wheel.name
    names = zipfile.ZipFile(wheel).namelist()
    for wanted in ("kurbel/__init__.py", "kurbel/_core.pyi", "kurbel/py.typed"):
        assert wanted in names
    assert not [name for name in names if "build_backend" in name]
    target = tmp_path / "site"
    zipfile.ZipFile(wheel).extractall(target)
    check = "import kurbel; print(kurbel.__file__)"
    env = {**os.environ, "PYTHONPATH": os.fspath(target)}
    run = subprocess.run([sys.executable, "-c", check], env=env, cwd="/", check=True, capture_output=True, text=True)
    assert run.stdout.startswith(os.fspath(target))


def test_metadata_need_no_compiler(tmp_path):
    folder = build("prepare_metadata_for_build_wheel", SOURCE, tmp_path)
    assert folder.name == f"kurbel-{kurbel.__version__}.dist-info"
    assert f"Version: {kurbel.__version__}\n" in (folder / "METADATA").read_text()


def documented():
    """Functions and public methods that take something."""
    for name in kurbel.__all__:
        thing = getattr(kurbel, name)
        if inspect.isfunction(thing):
            yield name, thing
        if inspect.isclass(thing):
            for member in vars(thing):
                method = getattr(thing, member)
                if not member.startswith("_") and (inspect.isfunction(method) or inspect.ismethod(method)):
                    yield f"{name}.{member}", method


def test_what_is_taken_and_given_is_documented():
    missing = []
    for name, function in documented():
        signature = inspect.signature(function)
        text = inspect.getdoc(function)
        if [p for p in signature.parameters if p != "self"] and "Parameters\n----------" not in text:
            missing.append(f"{name}: Parameters")
        if signature.return_annotation not in ("None", None) and len(text.splitlines()) > 1 and "Returns\n-------" not in text:
            missing.append(f"{name}: Returns")
    assert missing == []


@pytest.mark.parametrize("name", ["kurbel", "kurbel._core"])
def test_the_build_folder_is_what_is_tested(name):
    assert "site-packages" not in sys.modules[name].__file__
