"""Rules of ISO 19005-3 (PDF/A-3) that a file can be checked for by another library than its writer (qpdf).

From memory of ISO 19005-3:2012 and ISO 32000-1; this is a choice of rules and no full validator.
"""

from __future__ import annotations

from collections import defaultdict
from typing import Any
from xml.etree import ElementTree

import pikepdf

__all__ = ["archive_faults", "embedded"]

_PDFAID = "{http://www.aiim.org/pdfa/ns/id/}"
_FORBIDDEN_KEYS = ("/JS", "/JavaScript", "/URI", "/AA", "/SMask", "/TR", "/TR2", "/XFA", "/OPI", "/LZWDecode")


def archive_faults(pdf: pikepdf.Pdf) -> list[str]:
    """What breaks a rule, in words; nothing where all is well."""
    faults = [*pdf.check_pdf_syntax()]
    faults += _catalog(pdf) + _metadata(pdf) + _forbidden(pdf) + _fonts(pdf) + _glyphs(pdf)
    return faults


def embedded(pdf: pikepdf.Pdf) -> dict[str, bytes]:
    """Files inside, by name."""
    names = list(pdf.Root.Names.EmbeddedFiles.Names)
    return {str(name): spec.EF.F.read_bytes() for name, spec in zip(names[::2], names[1::2], strict=True)}


def _catalog(pdf: pikepdf.Pdf) -> list[str]:
    root, faults = pdf.Root, []
    if pdf.is_encrypted or "/ID" not in pdf.trailer:
        faults.append("encrypted, or without an identifier")
    (intent,) = root.OutputIntents
    profile = intent.DestOutputProfile.read_bytes()
    if intent.S != "/GTS_PDFA1" or profile[16:20] != b"RGB " or profile[36:40] != b"acsp":
        faults.append("no output intent of RGB colours")
    names = list(root.Names.EmbeddedFiles.Names)
    if [str(name) for name in names[::2]] != sorted(str(name) for name in names[::2]):
        faults.append("the name tree is not in order")
    associated = {spec.objgen for spec in root.AF}
    for name, spec in zip(names[::2], names[1::2], strict=True):
        whole = {"/F", "/UF", "/EF", "/AFRelationship", "/Desc"} <= set(spec.keys())
        file = spec.EF.F
        if (
            not whole
            or spec.objgen not in associated
            or "/Subtype" not in file
            or "/ModDate" not in file.Params
        ):
            faults.append(f"{name} is not a whole associated file")
        if int(file.Params.Size) != len(file.read_bytes()):
            faults.append(f"{name} has another size than stated")
    return faults


def _metadata(pdf: pikepdf.Pdf) -> list[str]:
    metadata = pdf.Root.Metadata
    tree = ElementTree.fromstring(metadata.read_bytes().decode("utf-8").split("?>", 1)[1].rsplit("<?", 1)[0])
    said = {tag: [one.text for one in tree.iter(f"{_PDFAID}{tag}")] for tag in ("part", "conformance")}
    faults = [] if said == {"part": ["3"], "conformance": ["B"]} else [f"metadata say {said}"]
    return [*faults, *(["metadata are filtered"] if "/Filter" in metadata else [])]


def _forbidden(pdf: pikepdf.Pdf) -> list[str]:
    faults = []
    for thing in pdf.objects:
        if not isinstance(thing, pikepdf.Dictionary | pikepdf.Stream):
            continue
        faults += [f"{key} is used" for key in _FORBIDDEN_KEYS if key in thing]
        if isinstance(thing, pikepdf.Stream) and "/F" in thing:
            faults.append("a stream lies outside of the file")
        if (
            any(float(thing.get(key, 1)) != 1 for key in ("/ca", "/CA"))
            or thing.get("/BM", "/Normal") != "/Normal"
        ):
            faults.append("something is transparent")
        if thing.get("/Subtype") == "/Image" and thing.get("/ColorSpace") not in (
            "/DeviceRGB",
            "/DeviceGray",
        ):
            faults.append("a picture has colours of another kind")
    return faults


def _fonts(pdf: pikepdf.Pdf) -> list[str]:
    faults = []
    for font in _all_fonts(pdf).values():
        descendant = font.DescendantFonts[0]
        if not {"/FontFile2", "/FontFile3"} & set(descendant.FontDescriptor.keys()):
            faults.append(f"{font.BaseFont} is not embedded")
        if not str(font.BaseFont)[1:].startswith("MPDFAA+") or "/ToUnicode" not in font:
            faults.append(f"{font.BaseFont} is no subset with a way back to text")
    return faults


def _glyphs(pdf: pikepdf.Pdf) -> list[str]:
    """Codes that show the glyph for letters that a font lacks."""
    faults = []
    for name, codes in _codes(pdf).items():
        mapping = _all_fonts(pdf)[name].DescendantFonts[0].CIDToGIDMap.read_bytes()
        if not codes:
            faults.append(f"{name} is not used")
        faults += [f"{name}: code {code} has no glyph" for code in codes if not any(mapping[2 * code :][:2])]
    return faults


def _all_fonts(pdf: pikepdf.Pdf) -> dict[Any, Any]:
    return {font.objgen: font for page in pdf.pages for font in page.Resources.Font.values()}


def _codes(pdf: pikepdf.Pdf) -> dict[Any, set[int]]:
    """Every code that is drawn, by its font."""
    drawn: dict[Any, set[int]] = defaultdict(set)
    for page in pdf.pages:
        current: Any = None
        kept: list[Any] = []
        for operands, operator in pikepdf.parse_content_stream(page):
            if str(operator) == "q":
                kept.append(current)
            elif str(operator) == "Q":
                current = kept.pop()
            elif str(operator) == "Tf":
                current = page.Resources.Font[str(operands[0])].objgen
            elif str(operator) in ("Tj", "TJ"):
                shown = operands if str(operator) == "Tj" else operands[0]
                for text in (bytes(one) for one in shown if isinstance(one, pikepdf.String)):
                    drawn[current] |= {int.from_bytes(text[k : k + 2], "big") for k in range(0, len(text), 2)}
    return drawn
