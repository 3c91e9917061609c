"""Wrong calls end with status 2 and a hint; help and version with 0."""

import re

import pytest
from conftest import ROOT, run


@pytest.mark.parametrize(
    "arguments, said",
    [
        ([], "a command is required"),
        (["bogus"], "no command bogus; there are analyze, "),
        (["analyze"], "RECORDING is required"),
        (["analyze", "r", "--frob"], "not understood: --frob"),
        (["analyze", "r", "--method", "magic"], "--method: must be one of work, segment-roughness, not magic"),
        (["analyze", "r", "--false-alarm", "0.5"], "--false-alarm must lie in 1e-9 to 0.1"),
        (["analyze", "r", "--false-alarm", "nan"], "--false-alarm must lie in 1e-9 to 0.1"),
        (["analyze", "r", "--false-alarm", "few"], "--false-alarm: not a number: few"),
        (["analyze", "r", "--plot"], "--plot writes a file: say where with --out FOLDER"),
        (["analyze", "r", "--stages"], "--stages writes files: say where with --out FOLDER"),
        (["analyze", "r", "--out"], "--out needs a value: --out FOLDER"),
        (["learn-wheel", "r"], "--out is required"),
        (["learn-wheel", "--out", "w"], "RECORDING is required"),
        (["score", "r"], "--truth is required"),
        (["score", "r", "--truth", "t", "--healthy", "0.9"], "--healthy must lie below --misfire"),
        (["simulate"], "required"),
        (["simulate", "r", "--seconds", "0"], "--seconds: must lie in 0.1 to 86400, not 0"),
    ],
)
def test_wrong_call(arguments, said):
    done = run(*arguments)
    assert done.returncode == 2
    assert said in done.stderr
    assert done.stderr.startswith("kurbel: ")
    assert done.stdout == ""


@pytest.mark.parametrize("command", ["analyze", "score", "verify"])
def test_the_hint_is_to_the_help_of_the_command_called(command):
    assert run(command, "r", "--frob").stderr.splitlines()[-1] == f"Help: kurbel {command} --help"


@pytest.mark.parametrize("command", [[], ["analyze"], ["learn-wheel"], ["score"], ["simulate"]])
def test_help(command):
    done = run(*command, "--help")
    assert done.returncode == 0
    assert done.stderr == ""
    assert "Usage: kurbel" in done.stdout
    assert "Exit status: 0 done, whatever the verdict; 2 the call is wrong; 3 the input is wrong" in done.stdout


def test_help_names_every_command():
    text = run("--help").stdout
    assert all(re.search(rf"^  {command} ", text, re.MULTILINE) for command in ("analyze", "learn-wheel", "score", "simulate"))


def test_version_is_the_headers():
    header = (ROOT / "include/kurbel/core/version.hpp").read_text()
    version = re.search(r'KURBEL_VERSION_STRING "([^"]+)"', header).group(1)
    done = run("--version")
    assert (done.returncode, done.stdout) == (0, f"kurbel {version}\n")
