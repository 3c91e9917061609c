"""Every key that a scenario file accepts stands in datasets/SIMULATOR.md and in datasets/scenarios/reference.toml.

Usage: scenario_keys.py SOURCE_FOLDER. The keys are taken from the readers' source, the defaults from the reference, which a C++ test
compares with the compiled ones.
"""
import re
import sys
import tomllib
from pathlib import Path


def keys_of_readers(root):
    """{table: [key, ...]} from every with_table and with_each of the readers."""
    tables = {}
    for path in sorted((root / "src/simulate").glob("*.cpp")):
        text = path.read_text()
        # A reader of part of a table stands outside of its with_table, and is called with r.
        helpers = {}
        for name, body in re.findall(r"^\w+ (\w+)\(TableReader& r\b[^{]*\{\n(.*?)^\}", text, re.MULTILINE | re.DOTALL):
            helpers[name] = body
            text = text.replace(body, "")
        for name, body in helpers.items():
            text = re.sub(rf"\b{name}\(r\b[^;]*;", lambda _, body=body: body, text)
        starts = [(m.start(), m.group(1)) for m in re.finditer(r'with_(?:table|each)\(file, "(\w+)"', text)]
        for (start, table), end in zip(starts, [s for s, _ in starts[1:]] + [len(text)]):
            calls = re.findall(r'\br\.(?!has\b|fail\b)\w+\(\s*"(\w+)"', text[start:end])
            tables.setdefault(table, []).extend(calls)
    config = (root / "src/read/config_toml.cpp").read_text()
    for table, keys in re.findall(r'refuse_unknown_keys\(file, \*?table, "(\w+)",\s*\{([^}]*)\}', config):
        tables.setdefault(table, []).extend(re.findall(r'"(\w+)"', keys))
    return {table: list(dict.fromkeys(keys)) for table, keys in tables.items()}


def root_tables(root):
    """Tables that read_scenario() itself knows; a reader nobody looks at, or a table nobody reads, shows up against these."""
    text = (root / "src/simulate/scenario_file.cpp").read_text()
    known = text[text.index('{"contract"'):]
    return set(re.findall(r'"(\w+)"', known[: known.index("}")])) - {"contract", "engine_file"}


def page_rows(page):
    """{table: {key: default text}} of the page's tables under headings that name a table."""
    tables = {}
    table = None
    for line in page.splitlines():
        heading = re.match(r"#+ .*\[(\w+)\]", line)
        if line.startswith("#"):
            table = heading.group(1) if heading else None
        row = re.match(r"\| `(\w+)` \| ([^|]*)\|", line)
        if table and row:
            tables.setdefault(table, {})[row.group(1)] = row.group(2).strip()
    return tables


def reference_words(text):
    """{table: text of its part}, comments included: keys without a default stand in comments."""
    parts = re.split(r"^(?:# )?\[+(\w+)\]+", text, flags=re.MULTILINE)
    words = {}
    for table, part in zip(parts[1::2], parts[2::2]):
        words[table] = words.get(table, "") + part
    return words


def main(root):
    root = Path(root)
    accepted = keys_of_readers(root)
    assert set(accepted) == root_tables(root), set(accepted) ^ root_tables(root)
    assert sum(map(len, accepted.values())) > 150, "the readers' source looks different: this check reads nothing"
    page = page_rows((root / "datasets/SIMULATOR.md").read_text())
    text = (root / "datasets/scenarios/reference.toml").read_text()
    shown = tomllib.loads(text)
    words = reference_words(text)
    faults = []
    for table, keys in accepted.items():
        for key in keys:
            if key not in page.get(table, {}):
                faults.append(f"{table}.{key} is not in SIMULATOR.md")
            if not re.search(rf"\b{key} = ", words.get(table, "")):
                faults.append(f"{table}.{key} is not in reference.toml")
    for table, rows in page.items():
        for key, default in rows.items():
            if key not in accepted.get(table, []):
                faults.append(f"{table}.{key} stands in SIMULATOR.md, and nobody reads it")
            value = shown.get(table, {}).get(key) if isinstance(shown.get(table), dict) else None
            number = re.fullmatch(r"-?[\d.]+(?:e-?\d+)?", default)
            if number and isinstance(value, (int, float)) and float(default) != float(value) and table not in ("engine", "crank_wheel"):
                faults.append(f"{table}.{key}: SIMULATOR.md says {default}, reference.toml {value}")
    text = (root / "datasets/SIMULATOR.md").read_text()
    helpers = {"simulator_physics", "machine_chain"}
    # Checks of the detector, the signals and the studies, which the page of the simulator does not tell of.
    others = {"binomial_scipy", "cranking_scipy", "observer_sklearn", "pattern_scipy", "pitch_numpy", "two_sample_scipy",
              "waveform_scipy", "work_numpy"}
    for check in (root / "tests/outside").glob("*.py"):
        if check.stem not in helpers | others and f"{check.name}`" not in text:
            faults.append(f"tests/outside/{check.name} is not in SIMULATOR.md's list of checks")
    print("\n".join(faults) or f"{sum(map(len, accepted.values()))} keys are told of")
    assert not faults


if __name__ == "__main__":
    main(sys.argv[1])
