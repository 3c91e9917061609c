"""Reads and writes files for kurbel's program: started by it, never by a person.

    python3 readers read FORMAT FILE       answers what is asked of the file, frame by frame (frames.py)
    python3 readers write FORMAT FILE      what comes in, into a file
"""
from __future__ import annotations

import importlib
import resource
import sys

# Enough for every library that is used here and a block of data; a file that asks for more is damaged, or made to do harm.
MOST_BYTES = 2 << 30

MODULES = {"npz": "from_npz", "hdf5": "from_hdf5", "parquet": "from_parquet", "mdf": "from_mdf"}
NEEDS = {
    "numpy": "Reading this kind of file needs Python's NumPy: apt-get install python3-numpy",
    "h5py": "Reading HDF5 needs Python's h5py: apt-get install python3-h5py, or python3 -m pip install 'kurbel[hdf5]'",
    "pyarrow": "Parquet needs Python's pyarrow: python3 -m pip install 'kurbel[parquet]' (in a virtual environment: "
    "KURBEL_PYTHON=ENVIRONMENT/bin/python3 names it)",
    "asammdf": "Reading MDF needs Python's asammdf: python3 -m pip install 'kurbel[mdf]' (in a virtual environment: "
    "KURBEL_PYTHON=ENVIRONMENT/bin/python3 names it)",
}


def complain(text: str) -> int:
    """An error frame by hand: NumPy, which frames.py needs, may be what is missing."""
    payload = text.encode("utf-8", "replace")
    out = sys.__stdout__.buffer if "frames" not in sys.modules else sys.modules["frames"].OUT
    out.write(b"E" + len(payload).to_bytes(8, "little") + payload)
    out.flush()
    return 3


def work(task: str, form: str, path: str) -> None:
    import frames

    if task == "write":
        importlib.import_module("to_" + form).write(path)
        return
    # One process for all columns of a file: its library may take a second to load.
    reader = importlib.import_module(MODULES[form])
    readings: list[frames.Reading] = []
    while request := frames.receive_or_end():
        kind, payload = request
        if kind == "L":
            reader.look(path)
            frames.send("Z")
        elif kind == "O":
            wishes = [frames.Wish(word) for word in payload.decode().split("\x1e")]
            readings.append(frames.Reading(iter(reader.blocks(path, wishes)), wishes))
            frames.send("H", readings[-1].types.encode())
        else:
            readings[int.from_bytes(payload, "little")].send_next()


def main(arguments: list[str]) -> int:
    _, hard = resource.getrlimit(resource.RLIMIT_DATA)
    most = MOST_BYTES if hard == resource.RLIM_INFINITY else min(MOST_BYTES, hard)
    resource.setrlimit(resource.RLIMIT_DATA, (most, most))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    task, form, path = arguments
    try:
        work(task, form, path)
        return 0
    except ModuleNotFoundError as error:
        return complain(NEEDS.get((error.name or "").partition(".")[0], f"Python lacks the module {error.name}"))
    except MemoryError:
        return complain(f"needs more than {MOST_BYTES >> 20} MiB to read: it is damaged, or no recording (or memory is short)")
    except BrokenPipeError:
        return 3
    except Exception as error:  # whatever a library makes of a damaged file is a complaint about the file
        known = type(error).__name__ == "InputProblem"
        text = " ".join(str(error).split())[:500]
        return complain(text if known else f"cannot be read as {form}: {text or type(error).__name__}")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
