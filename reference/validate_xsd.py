"""Is this MusicXML valid by the W3C MusicXML 4.0 schema?

    python reference/validate_xsd.py FILE...

The schema is the copy inside the PyPI package `musicxml` (musicxml/generate_classes/musicxml_4_0.xsd, W3C Community Final
Specification Agreement); its code is not run. The two schemas it imports over the network (xml:lang and friends, XLink) are
stood in for by the attributes MusicXML uses of them. Prints each fault with its line; exit status 1 if there is any.
"""

import argparse
import sys
import tempfile
from collections import Counter
from importlib.util import find_spec
from pathlib import Path

from lxml import etree

XML = """<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" targetNamespace="http://www.w3.org/XML/1998/namespace">
<xs:attribute name="lang" type="xs:language"/><xs:attribute name="space" type="xs:NCName"/></xs:schema>"""
XLINK = (
    '<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" targetNamespace="http://www.w3.org/1999/xlink">'
    + "".join(f'<xs:attribute name="{name}" type="xs:string"/>' for name in ("href", "type", "role", "title", "show", "actuate"))
    + "</xs:schema>"
)


def schema() -> etree.XMLSchema:
    folder = Path(find_spec("musicxml").submodule_search_locations[0]) / "generate_classes"
    text = (folder / "musicxml_4_0.xsd").read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as place:
        for name, standin in (("xml", XML), ("xlink", XLINK)):
            text = text.replace(f"http://www.musicxml.org/xsd/{name}.xsd", f"standin_{name}.xsd")
            Path(place, f"standin_{name}.xsd").write_text(standin, encoding="utf-8")
        Path(place, "schema.xsd").write_text(text, encoding="utf-8")
        return etree.XMLSchema(etree.parse(str(Path(place, "schema.xsd"))))


def main() -> int:
    options = argparse.ArgumentParser(description="Validate MusicXML by the 4.0 schema")
    options.add_argument("files", nargs="+", help="files, or folders of .musicxml files")
    files = []
    for name in options.parse_args().files:
        path = Path(name)
        files += sorted(path.rglob("*.musicxml")) if path.is_dir() else [path]
    rules, bad, kinds = schema(), 0, Counter()
    for path in files:
        document = etree.parse(str(path), etree.XMLParser(load_dtd=False, no_network=True, huge_tree=True))
        if not rules.validate(document):
            bad += 1
            for fault in list(rules.error_log)[:3]:
                print(f"{path}, line {fault.line}: {fault.message}")
            kinds.update(fault.message for fault in rules.error_log)
    print(f"{len(files) - bad} of {len(files)} files are valid MusicXML 4.0")
    for message, count in kinds.most_common(10):
        print(f"  {count} times: {message}")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
