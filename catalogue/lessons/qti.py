"""The questions of a set are packed as QTI 3, 1EdTech's open format for tests.

Names of elements, attributes and namespaces follow 1EdTech's own examples of QTI 3.0.1 (read): an
item a question with a choice interaction, a test that lists them case by case, and the manifest.
The published schema could not be had offline; the tests check the structure instead.
"""

import io
import zipfile
from collections.abc import Mapping, Sequence
from typing import Final
from xml.etree import ElementTree

from catalogue.lessons.json_forms import (
    LessonsForm,
    QuestionForm,
    SheetForm,
    seen_words,
    table_words,
)

ITEM_SPACE: Final = "http://www.imsglobal.org/xsd/imsqtiasi_v3p0"
PACKAGE_SPACE: Final = "http://www.imsglobal.org/xsd/qti/qtiv3p0/imscp_v1p1"
MATCH_CORRECT: Final = "https://purl.imsglobal.org/spec/qti/v3p0/rptemplates/match_correct"
_SCHEMAS: Final = "https://purl.imsglobal.org/spec/qti/v3p0/schema/xsd"
_INSTANCE: Final = "http://www.w3.org/2001/XMLSchema-instance"
_ITEM_LOCATION: Final = f"{ITEM_SPACE} {_SCHEMAS}/imsqti_asiv3p0p1_v1p0.xsd"
_PACKAGE_LOCATION: Final = f"{PACKAGE_SPACE} {_SCHEMAS}/imsqtiv3p0_imscpv1p2_v1p0.xsd"
_RESPONSE: Final = "RESPONSE"
#: Every package carries this time, so that equal content gives equal bytes.
_NO_TIME: Final = (1980, 1, 1, 0, 0, 0)

_Element = ElementTree.Element


def qti_package(form: LessonsForm, pictures: Sequence[str]) -> bytes:
    """Return the package as a zip; `pictures` are the SVGs of the cases without marks."""
    parts: dict[str, str] = {}
    for case, svg in zip(form["cases"], pictures, strict=True):
        parts[_picture_name(case)] = svg
        for question in case["questions"]:
            parts[_item_name(case, question)] = _text(_item(form, case, question))
    parts["test.xml"] = _text(_test(form))
    return zipped({"imsmanifest.xml": _text(_manifest(form)), **parts})


def zipped(files: Mapping[str, str]) -> bytes:
    """Return files as a zip; equal content gives equal bytes."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            entry = zipfile.ZipInfo(name, _NO_TIME)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, content)
    return out.getvalue()


def _item_id(case: SheetForm, question: QuestionForm) -> str:
    return f"case-{case['number']:02}-{question['id']}"


def _item_name(case: SheetForm, question: QuestionForm) -> str:
    return f"items/{_item_id(case, question)}.xml"


def _picture_id(case: SheetForm) -> str:
    return f"picture-{case['number']:02}"


def _picture_name(case: SheetForm) -> str:
    return f"pictures/case-{case['number']:02}.svg"


def _root(tag: str, space: str, location: str, **attributes: str) -> _Element:
    return ElementTree.Element(
        tag,
        {
            "xmlns": space,
            "xmlns:xsi": _INSTANCE,
            "xsi:schemaLocation": location,
            **{name.replace("_", "-"): value for name, value in attributes.items()},
        },
    )


def _add(parent: _Element, tag: str, text: str = "", **attributes: str) -> _Element:
    named = {name.replace("_", "-"): value for name, value in attributes.items()}
    child = ElementTree.SubElement(parent, tag, named)
    child.text = text or None
    return child


def _item(form: LessonsForm, case: SheetForm, question: QuestionForm) -> _Element:
    item = _root(
        "qti-assessment-item",
        ITEM_SPACE,
        _ITEM_LOCATION,
        identifier=_item_id(case, question),
        title=f"{case['number']}. {case['title']}",
        time_dependent="false",
    )
    item.set("xml:lang", "en-GB" if form["terms"] == "iec" else "en-US")
    declared = _add(
        item,
        "qti-response-declaration",
        identifier=_RESPONSE,
        cardinality="multiple" if question["multiple"] else "single",
        base_type="identifier",
    )
    if form["with_answers"]:
        correct = _add(declared, "qti-correct-response")
        for choice in question["choices"]:
            if choice.get("right"):
                _add(correct, "qti-value", choice["id"])
    _add(
        item,
        "qti-outcome-declaration",
        identifier="SCORE",
        cardinality="single",
        base_type="float",
    )
    body = _add(item, "qti-item-body")
    _add(body, "p", case["story"])
    _table(body, case)
    picture = _add(body, "p")
    _add(
        picture,
        "img",
        src=f"../{_picture_name(case)}",
        alt=f"The wiring as found, with all boxes open. {table_words(case)}",
    )
    asked = _add(
        body,
        "qti-choice-interaction",
        response_identifier=_RESPONSE,
        max_choices=str(len(question["choices"])) if question["multiple"] else "1",
        min_choices="1",
    )
    _add(asked, "qti-prompt", question["prompt"])
    for choice in question["choices"]:
        _add(asked, "qti-simple-choice", choice["text"], identifier=choice["id"])
    for caution in form["cautions"]:
        _add(body, "p", caution)
    if form["with_answers"]:
        _add(item, "qti-response-processing", template=MATCH_CORRECT)
    return item


def _table(body: _Element, case: SheetForm) -> None:
    table = _add(body, "table")
    head = _add(_add(table, "thead"), "tr")
    for name in case["states"][0]["positions"]:
        _add(head, "th", name)
    _add(head, "th", "what happens")
    rows = _add(table, "tbody")
    for state in case["states"]:
        row = _add(rows, "tr")
        for where in state["positions"].values():
            _add(row, "td", where)
        _add(row, "td", seen_words(state))


def _test(form: LessonsForm) -> _Element:
    test = _root(
        "qti-assessment-test",
        ITEM_SPACE,
        _ITEM_LOCATION,
        identifier="boathouse",
        title=form["title"],
    )
    part = _add(
        test,
        "qti-test-part",
        identifier="cases",
        navigation_mode="nonlinear",
        submission_mode="individual",
    )
    for case in form["cases"]:
        section = _add(
            part,
            "qti-assessment-section",
            identifier=f"case-{case['number']:02}",
            title=f"{case['number']}. {case['title']}",
            visible="true",
        )
        for question in case["questions"]:
            _add(
                section,
                "qti-assessment-item-ref",
                identifier=_item_id(case, question),
                href=_item_name(case, question),
            )
    return test


def _manifest(form: LessonsForm) -> _Element:
    manifest = _root("manifest", PACKAGE_SPACE, _PACKAGE_LOCATION, identifier="boathouse-package")
    about = _add(manifest, "metadata")
    _add(about, "schema", "QTI Package")
    _add(about, "schemaversion", "3.0.1")
    _add(manifest, "organizations")
    resources = _add(manifest, "resources")
    test = _resource(resources, "boathouse", "imsqti_test_xmlv3p0", "test.xml")
    for case in form["cases"]:
        for question in case["questions"]:
            name = _item_id(case, question)
            _add(test, "dependency", identifierref=name)
            item = _resource(resources, name, "imsqti_item_xmlv3p0", _item_name(case, question))
            _add(item, "dependency", identifierref=_picture_id(case))
        _resource(resources, _picture_id(case), "webcontent", _picture_name(case))
    return manifest


def _resource(parent: _Element, identifier: str, kind: str, href: str) -> _Element:
    made = _add(parent, "resource", identifier=identifier, type=kind, href=href)
    _add(made, "file", href=href)
    return made


def _text(root: _Element) -> str:
    ElementTree.indent(root, " ")
    body = ElementTree.tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{body}\n'
