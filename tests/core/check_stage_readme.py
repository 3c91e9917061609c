"""Every header of the stages is named in their README, and what is named there as one is there."""
import pathlib
import re
import sys

folder = pathlib.Path(sys.argv[1])
text = (folder / "README.md").read_text(encoding="utf-8")
headers = {path.stem for path in folder.glob("*.hpp")}
named = set(re.findall(r"`([a-z0-9_]+)`", text))
if not headers:
    sys.exit(f"{folder}: no headers")
problems = [f"{name}.hpp is not named" for name in sorted(headers - named)]
problems += [f"`{name}` names no header" for name in sorted(named - headers)]
problems += [
    f"`{name}` names no file"
    for name in re.findall(r"`((?:[a-z_]+/)*[a-z_]+\.hpp)`", text)
    if not (folder / name).exists() and not (folder.parent / name).exists()
]
if problems:
    sys.exit("\n".join(problems))
