"""Builds the compiled half of the Python package with the project's own CMake. Needs CMake, Ninja and the Debian packages of
README.md; nothing is downloaded:  python3 -m build --no-isolation  (or  pip install --no-build-isolation .)
"""
import os
import re
import subprocess
import sys
from pathlib import Path

from setuptools import Extension, setup
from setuptools.command.build_ext import build_ext

ROOT = Path(__file__).resolve().parent


def version() -> str:
    header = (ROOT / "include/kurbel/core/version.hpp").read_text(encoding="ascii")
    return re.search(r'KURBEL_VERSION_STRING "([^"]+)"', header).group(1)


class CMakeBuild(build_ext):
    """Builds the CMake target kurbel_python and puts its module where setuptools wants it."""

    def build_extension(self, ext: Extension) -> None:
        build = Path(self.build_temp).resolve() / "cmake"
        target = Path(self.get_ext_fullpath(ext.name)).resolve()
        subprocess.run(
            [
                "cmake", "-S", str(ROOT), "-B", str(build), "-G", "Ninja", "-DCMAKE_BUILD_TYPE=Release",
                f"-DPython_EXECUTABLE={sys.executable}", "-DKURBEL_BUILD_PYTHON=ON", "-DKURBEL_BUILD_TESTS=OFF",
                "-DKURBEL_BUILD_BENCH=OFF", "-DKURBEL_BUILD_COMMAND=OFF", "-DKURBEL_WARNINGS_AS_ERRORS=OFF",
            ],
            check=True,
        )
        subprocess.run(["cmake", "--build", str(build), "--target", "kurbel_python"], check=True)
        target.parent.mkdir(parents=True, exist_ok=True)
        self.copy_file(os.fspath(build / "python/kurbel" / target.name), os.fspath(target))


setup(version=version(), ext_modules=[Extension("kurbel._core", sources=[])], cmdclass={"build_ext": CMakeBuild})
