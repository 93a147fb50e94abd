"""Hostile inputs: each is written to a file in pieces, so that this process stays small.

`KINDS` has them by kind. Each has its ending, what writes it, its size in bytes, and the words that have to be told
of it; none where it has to be accepted. Most are as large as a body may be; the others are just as large as is
looked at in whole, which is the most work that there is. All people are invented and marked as test data.
"""

import json
import pathlib
import uuid

HERE = pathlib.Path(__file__).resolve().parent
FIXTURES = HERE.parent.parent / "fixtures"
SOUND = json.loads((FIXTURES / "sessions/sound.json").read_text())
SHEET = (FIXTURES / "sheets/findings.csv").read_text()
BESIDE = FIXTURES / "sheets/beside.json"
EIGHT = 8 << 20
PIECE = 1 << 16


def filled(file, size, before, item, after, between=","):
    """Writes `before`, as many items as fit into a size, and `after`. `item` may be made from a number."""
    file.write(before)
    room = size - len(before) - len(after)
    if callable(item):
        counted(file, room, item, between)
    else:
        again = item + between
        count = max(0, (room + len(between)) // len(again))
        at_once = max(1, PIECE // len(again))
        for _piece in range((count - 1) // at_once):
            file.write(again * at_once)
        left = (count - 1) % at_once if count else 0
        file.write(again * left + (item if count else ""))
    file.write(after)


def counted(file, room, item, between):
    number, piece = 0, []
    while True:
        text = (between if number else "") + item(number)
        room -= len(text)
        if room < 0:
            break
        number += 1
        piece.append(text)
        if len(piece) > 4096:
            file.write("".join(piece))
            piece.clear()
    file.write("".join(piece))


def document(**changes):
    """The sound session with other members, and the text before and behind a list that is left open."""
    said = dict(SOUND)
    said.update(changes)
    return said


def around(mark, said):
    """The text of a document before and behind a text that stands in it as a mark."""
    before, after = json.dumps(said).split(f'"{mark}"')
    return before, after


def listed(name, item):
    before, after = around("@", document(**{name: "@"}))
    return lambda file, size: filled(file, size, f"{before}[", item, f"]{after}")


def in_finding(change, item, between=",", brackets=("[", "]")):
    finding = dict(SOUND["findings"][0])
    finding.update(change)
    before, after = around("@", document(findings=[finding]))
    opens, closes = brackets
    return lambda file, size: filled(
        file, size, before + opens, item, closes + after, between
    )


def findings(file, size):
    """Findings that hold, each with a long note; 8 MiB have nearly every measure on both sides."""
    each = 5600
    said = json.loads((FIXTURES / "sessions/every-measure.json").read_text())
    rows = said["findings"][: size // each]
    said["findings"] = "@"
    before, after = around("@", said)
    rows = (dict(row, note="n" * (each - 100 - len(json.dumps(row)))) for row in rows)
    file.write(f"{before}[" + ",".join(map(json.dumps, rows)) + f"]{after}")


def plain(before, item, after, between=","):
    return lambda file, size: filled(file, size, before, item, after, between)


def nested(opening, closing, levels):
    def write(file, size):
        text = opening * levels + "1" + closing * levels
        filled(file, size, "[", text, "]")

    return write


def bundle(entry, kind="collection"):
    before = f'{{"resourceType":"Bundle","type":"{kind}","entry":['
    return lambda file, size: filled(file, size, before, entry, "]}")


PATIENT = '{"fullUrl":"urn:uuid:%s","resource":{"resourceType":"Patient","active":true}}'
ONE_PATIENT = PATIENT % uuid.UUID(int=7)
HEAD = '{"resourceType":"Observation","status":"final","code":{"text":"x"},'
COLUMNS = SHEET.splitlines()[0]
ROW = "clonus.ankle,right,knee,straight,,,,,,,,pain,,,,,handling,,"
assert COLUMNS.count(",") == ROW.count(",")


def sheet(row, between="\r\n"):
    return lambda file, size: filled(file, size, COLUMNS + "\r\n", row, "\r\n", between)


def sessions(file, size):
    """Many sessions of three rows each, with the columns of the session."""
    names = [
        "session.id", "session.version", "session.source", "patient.identifier.value",
        "measure", "side", "method",
    ]

    def row(number):
        name = uuid.UUID(int=(number // 3) + 1)
        return f"{name},1,https://clinic.example/s,TEST-0001,clonus.ankle,right,handling"

    filled(file, size, ",".join(names) + "\n", row, "\n", "\n")


def trace(file, size):
    samples = {
        **json.loads((FIXTURES / "sessions/every-trace.json").read_text())["traces"][0]
    }
    for name in ("times", "file", "finding", "accepted"):
        samples.pop(name, None)
    samples.update(angles="@", period="0.001")
    said = json.loads((FIXTURES / "sessions/every-trace.json").read_text())
    said["traces"] = [samples]
    before, after = around("@", said)
    filled(file, size, f"{before}[", lambda n: f'"{n % 50}.5"', f"]{after}")


def confirmations(file, size):
    session = dict(SOUND["session"], confirmations="@")
    one = {
        "code": "angle.unusual", "path": "/findings/0/value", "mark": "00000000",
        "by": SOUND["performers"][0]["key"], "at": session["signed"]["at"], "reason": "seen",
    }
    before, after = around("@", document(session=session))
    filled(file, size, f"{before}[", json.dumps(one), f"]{after}")


def no_text(file, size):
    file.flush()
    raw = file.buffer
    raw.write((COLUMNS + "\r\n").encode())
    row = ROW.encode() + b"\xff\r\n"
    for _piece in range(size // len(row) // 1000):
        raw.write(row * 1000)


OBSERVATION = '{"resourceType":"Observation","status":"final","code":{"coding":[{"code":"a","system":"http://x.example"}]},"valueString":"x",'
COMPONENT = '{"code":{"coding":[{"code":"a","system":"http://x.example"}]}}'
EXTENSION = '{"url":"http://x.example","extension":['
SAMPLED = HEAD + '"valueSampledData":{"origin":{"value":0},"period":1,"dimensions":1,"data":"'
QUANTITY = HEAD + '"valueQuantity":{"value":1,"system":"http://unitsofmeasure.org","code":"'
WRONG = '{"measure":1,"side":2,"more":3}'
TEXT = ('"', '"')
SESSION = '{"fascicle":"session/1",'


def member(number):
    return f'"k{number}":1'


def noted(item):
    return in_finding({"note": "@"}, item, "", TEXT)


def valued(value, item):
    return in_finding({"value": value}, item, "", TEXT)


KINDS = {
    "JSON that is no session": {
        "findings that are numbers": ("json", listed("findings", "1"), EIGHT, "json.many"),
        "as many numbers as are read": ("json", listed("findings", "1"), 1_900_000, "list.long"),
        "numbers in the place of findings": ("json", listed("findings", "1"), 7_000, "problems.more"),
        "findings that are null": ("json", listed("findings", "null"), EIGHT, "json.many"),
        "as many empty findings as are read": ("json", listed("findings", "{}"), 1_400_000, "list.long"),
        "findings that are each wrong": ("json", listed("findings", WRONG), EIGHT, "json.many"),
        "as many wrong findings as are read": ("json", listed("findings", WRONG), 7_900_000, "list.long"),
        "as many wrong findings as are looked at": ("json", listed("findings", WRONG), 95_000, "problems.more"),
        "texts in the place of objects": ("json", listed("performers", '"a"'), 3_600_000, "list.long"),
        "many unknown members": ("json", plain(SESSION, member, "}"), EIGHT, "json.many"),
        "as many unknown members as are read": ("json", plain(SESSION, member, "}"), 90_000, "list.long"),
        "as many unknown members as are looked at": ("json", plain(SESSION, member, "}"), 8_000, "field.unknown"),
        "one key again and again": ("json", plain("{", '"a":1', "}"), 5_900_000, "json.key-twice"),
        "deep lists": ("json", nested("[", "]", 62), EIGHT, "json.many"),
        "as many deep objects as are read": ("json", nested('{"a":', "}", 62), 5_900_000, "field.type"),
        "a long text in deep lists": ("json", plain("[" * 62 + '"', "x", '"' + "]" * 62, ""), EIGHT, "field.type"),
        "deeper lists than are read": ("json", nested("[", "]", 500), EIGHT, "json.deep"),
        "nothing but opening brackets": ("json", plain("", "[", "", ""), EIGHT, "json.deep"),
        "commas": ("json", plain("[", "", "]"), EIGHT, "json.many"),
        "blanks": ("json", plain("", " ", "", ""), EIGHT, "json.syntax"),
        "a byte order mark": ("json", plain("\ufeff[", "0", "]"), 1_900_000, "field.type"),
    },
    "texts and numbers": {
        "one text of eight million letters": ("json", noted("x"), EIGHT - 64, "text.long"),
        "a text of escapes": ("json", noted("\\u0001"), EIGHT - 64, "text.control"),
        "a text of half signs": ("json", noted("\\ud800"), EIGHT - 64, "json.syntax"),
        "a number of eight million digits": ("json", plain('{"fascicle":', "9", "}", ""), EIGHT, "json.number"),
        "a fraction of eight million digits": ("json", plain('{"fascicle":0.', "1", "}", ""), EIGHT, "field.choice"),
        "large exponents": ("json", plain("[", "1e308", "]"), 5_900_000, "field.type"),
        "exponents beyond any number": ("json", plain("[", "1e999", "]"), 5_900_000, "json.number"),
        "long digits as a value": ("json", valued({"beyond_neutral": "@", "unit": "deg"}, "1"), EIGHT - 64, "error"),
        "a unit of brackets": ("json", valued({"beyond_neutral": "1", "unit": "@"}, "("), EIGHT - 64, "error"),
        "many parts of a finding": ("json", in_finding({"parts": "@"}, '{"part":"x","value":"1"}'), 8_200_000, "list.long"),
        "many confirmations": ("json", confirmations, EIGHT, "list.long"),
    },
    "sessions that hold": {
        "every measure with a long note": ("json", findings, EIGHT, None),
        "samples of a trace": ("json", trace, 1_200_000, ""),
    },
    "sheets": {
        "a header of commas": ("csv", plain("", ",", "\n", ""), EIGHT, "csv.wide"),
        "a header of names": ("csv", plain("", lambda n: f"c{n}", "\n"), EIGHT, "csv.wide"),
        "as many names as a header may have": ("csv", plain("", lambda n: f"c{n}", "\n"), 100_000, "problems.more"),
        "a row of commas": ("csv", plain(COLUMNS + "\r\n", ",", "\n", ""), EIGHT, "csv.wide"),
        "rows of commas": ("csv", plain(COLUMNS + "\r\n", "," * 30, "\n", "\n"), EIGHT, "csv.empty"),
        "quotation marks": ("csv", plain(COLUMNS + "\r\n", '"', "", ""), EIGHT - 1024, "error [csv."),
        "cells with text behind them": ("csv", plain(COLUMNS + "\r\n", '"a"b', "\n", "\n"), EIGHT, "csv.quote"),
        "carriage returns": ("csv", plain(COLUMNS + "\r\n", "\r", "", ""), EIGHT, "csv.empty"),
        "rows of one letter": ("csv", plain(COLUMNS + "\r\n", "a", "\n", "\n"), EIGHT, "csv.cells"),
        "one huge cell": ("csv", plain(COLUMNS + "\r\n" + ROW, "x", "\r\n", ""), EIGHT - 1024, "error"),
        "one huge cell left open": ("csv", plain(COLUMNS + "\r\n" + ROW + '"', "x", "", ""), EIGHT - 1024, "csv.quote"),
        "more rows than a session has": ("csv", sheet(ROW), EIGHT, "csv.large"),
        "bytes that are no text": ("csv", no_text, EIGHT, "csv.utf8"),
        "many sessions": ("csv", sessions, EIGHT, "field.missing"),
    },
    "FHIR from elsewhere": {
        "twenty thousand equal entries": ("json", bundle(ONE_PATIENT), 20_000 * (len(ONE_PATIENT) + 1), "problems.more"),
        "equal entries": ("json", bundle(ONE_PATIENT), EIGHT, "problems.more"),
        "entries with addresses of their own": ("json", bundle(lambda n: PATIENT % uuid.UUID(int=n + 1)), EIGHT, ""),
        "as many empty entries as are read": ("json", bundle("{}"), 1_400_000, "problems.more"),
        "as many numbers for entries as are read": ("json", bundle("1"), 1_900_000, "problems.more"),
        "many references": ("json", plain(HEAD + '"hasMember":[', '{"reference":"#a"}', "]}"), EIGHT, "fhir.ref-1"),
        "many components with the code of the whole": ("json", plain(OBSERVATION + '"component":[', COMPONENT, "]}"), EIGHT, "fhir.obs-7"),
        "many contained resources": ("json", plain(HEAD + '"contained":[', lambda n: f'{{"resourceType":"Patient","id":"p{n}"}}', "]}"), EIGHT, "fhir.dom-3"),
        "deep extensions": ("json", plain(HEAD + '"extension":[', EXTENSION * 25 + '{"url":"http://x.example","valueString":"x"}' + "]}" * 25, "]}"), EIGHT, ""),
        "huge sampled data": ("json", plain(SAMPLED, "1.5", '"}}', " "), EIGHT, ""),
        "a unit of brackets in FHIR": ("json", plain(QUANTITY, "(", '"}}', ""), EIGHT, "unit.ucum"),
        "a narrative of tags": ("json", plain(HEAD + '"text":{"status":"generated","div":"<div>', "<b>x</b>", '</div>"}}', ""), EIGHT, ""),
        "tiny lines": ("ndjson", plain("", "{}", "\n", "\n"), EIGHT, "problems.more"),
        "lines that are no JSON": ("ndjson", plain("", "x", "\n", "\n"), EIGHT, "problems.more"),
    },
}
# What CI plays: some of each kind, those that do the most work, or whose cost has grown too fast once.
GATE = [
    "as many numbers as are read", "as many wrong findings as are looked at", "many unknown members",
    "as many unknown members as are looked at", "one key again and again", "as many deep objects as are read",
    "a long text in deep lists", "nothing but opening brackets", "commas",
    "one text of eight million letters", "a text of half signs", "a number of eight million digits",
    "many confirmations",
    "every measure with a long note", "samples of a trace",
    "a header of commas", "as many names as a header may have", "rows of commas", "quotation marks",
    "cells with text behind them", "one huge cell left open", "more rows than a session has",
    "twenty thousand equal entries", "many references", "many contained resources",
    "as many empty entries as are read", "a unit of brackets in FHIR", "a narrative of tags",
]
INPUTS = {name: one for kind in KINDS.values() for name, one in kind.items()}


def make(name, size, path):
    write = INPUTS[name][1]
    with open(path, "w", encoding="utf-8", newline="", buffering=PIECE) as file:
        write(file, size)
