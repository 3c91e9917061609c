"""The wheel's build backend (PEP 517, in the tree): setuptools does the packing, the project's own CMake the compiling.

Needs CMake, Ninja and the Debian packages that .ci/install names; nothing is downloaded:
pip wheel --no-build-isolation --no-deps .

Settings of the front end (pip's --config-settings): `build-dir`, the folder in which CMake builds, kept (a temporary one where
it is not given); `cmake-args`, further arguments of CMake, separated by spaces.
"""
from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

from setuptools import Extension, setup
from setuptools.command.build_ext import build_ext

ROOT = Path(__file__).resolve().parents[2]


def version() -> str:
    """The version that the C++ header names: there is no second place to keep it."""
    header = (ROOT / "include/kurbel/core/version.hpp").read_text(encoding="ascii")
    return re.search(r'KURBEL_VERSION_STRING "([^"]+)"', header).group(1)


class CMakeBuild(build_ext):
    """Builds the CMake target kurbel_python and puts its module where setuptools wants it."""

    settings: dict[str, Any] = {}

    def build_extension(self, ext: Extension) -> None:
        build = Path(self.settings.get("build-dir", Path(self.build_temp) / "cmake")).resolve()
        target = Path(self.get_ext_fullpath(ext.name)).resolve()
        subprocess.run(
            [
                "cmake", "-S", str(ROOT), "-B", str(build), "-G", "Ninja", "-DCMAKE_BUILD_TYPE=Release",
                f"-DPython_EXECUTABLE={sys.executable}", "-DKURBEL_BUILD_PYTHON=ON", "-DKURBEL_BUILD_TESTS=OFF",
                "-DKURBEL_BUILD_BENCH=OFF", "-DKURBEL_BUILD_COMMAND=OFF", "-DKURBEL_WARNINGS_AS_ERRORS=OFF",
                *shlex.split(self.settings.get("cmake-args", "")),
            ],
            check=True,
        )
        subprocess.run(["cmake", "--build", str(build), "--target", "kurbel_python"], check=True)
        target.parent.mkdir(parents=True, exist_ok=True)
        self.copy_file(os.fspath(build / "python/kurbel" / target.name), os.fspath(target))

    def get_source_files(self) -> list[str]:
        """What the source archive must hold, so that a wheel can be built from it."""
        folders = [ROOT / folder for folder in ("include", "src", "bindings/python")]
        files = [file for folder in folders for file in sorted(folder.rglob("*")) if file.is_file()]
        inside = [os.path.relpath(file, ROOT) for file in files if file.suffix != ".pyc"]
        return ["CMakeLists.txt", "LICENSE", "README.md", "pyproject.toml", *inside]


def _run(command: str, folder: str, **options: dict[str, str]) -> str:
    """Runs a setuptools command that packs one file into `folder`, and returns the file's name."""
    done = setup(
        script_name=os.path.relpath(__file__, ROOT),
        script_args=["--quiet", command, "--dist-dir", folder],
        options=options,
        version=version(),
        ext_modules=[Extension("kurbel._core", sources=[])],
        cmdclass={"build_ext": CMakeBuild},
    )
    return os.path.basename(done.dist_files[-1][-1])


def build_wheel(
    wheel_directory: str, config_settings: dict[str, Any] | None = None, metadata_directory: str | None = None
) -> str:
    """PEP 517: builds the wheel, outside the tree; returns its name."""
    CMakeBuild.settings = config_settings or {}
    with tempfile.TemporaryDirectory() as scratch:
        return _run("bdist_wheel", wheel_directory, build={"build_base": scratch}, egg_info={"egg_base": scratch})


def build_sdist(sdist_directory: str, config_settings: dict[str, Any] | None = None) -> str:
    """PEP 517: packs the source archive; returns its name."""
    return _run("sdist", sdist_directory)


def prepare_metadata_for_build_wheel(metadata_directory: str, config_settings: dict[str, Any] | None = None) -> str:
    """PEP 517: writes the wheel's metadata without compiling anything; returns the folder's name.

    Without it a front end that only wants to know name and version builds the whole wheel.
    """
    with tempfile.TemporaryDirectory() as scratch:
        setup(
            script_name=os.path.relpath(__file__, ROOT),
            script_args=["--quiet", "dist_info", "--output-dir", metadata_directory],
            options={"egg_info": {"egg_base": scratch}},
            version=version(),
        )
    return next(path.name for path in sorted(Path(metadata_directory).glob("*.dist-info")))
