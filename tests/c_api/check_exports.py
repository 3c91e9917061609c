"""The library's C symbols are those that kurbel.h declares, all of them and no other; C++ symbols are all in the namespace."""
import re
import subprocess
import sys


def main() -> int:
    nm, library, header_path = sys.argv[1:]
    header = open(header_path, encoding="ascii").read()
    declared = set(re.findall(r"KURBEL_API [^;]*?\b(kurbel_\w+)\(", header))
    text = subprocess.run([nm, "-g", "--defined-only", library], check=True, capture_output=True, text=True).stdout
    symbols = {line.split()[-1] for line in text.splitlines() if re.search(r" [TDBR] ", line)}
    in_c = {symbol for symbol in symbols if not symbol.startswith("_")}
    strange = {symbol for symbol in symbols - in_c if not re.match(r"_ZN?[A-Z]*[0-9]*6kurbel|_ZT[ISV]N6kurbel|_ZNK?6kurbel", symbol)}
    for what, names in (
        ("declared but not there", declared - in_c),
        ("there but not declared", in_c - declared),
        ("outside the namespace", strange),
    ):
        for name in sorted(names):
            print(f"{what}: {name}")
    if not declared or in_c != declared or strange:
        return 1
    print(f"{len(declared)} C functions, {len(symbols) - len(in_c)} C++ symbols")
    return 0


if __name__ == "__main__":
    sys.exit(main())
