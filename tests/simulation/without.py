#!/usr/bin/env python3
"""Takes one protecting piece out of a copy of the source: without.py NAME FOLDER, or --names.

Each edit is one text of one file, which has to stand there exactly once: an edit that no longer fits is
told, and never passes for one that was noticed.
"""
import pathlib
import sys

EDITS = {
    # A request leaves although somebody else holds the lane by now.
    "the-fence-before-sending": (
        "src/delivery/outbox/work.rs",
        "AND lane.token = $3 AND lane.lease_until > $2)",
        "AND $3 <> '')",
    ),
    # Whoever lost the lane still says how the attempt of another ended, and gives the lane back.
    "the-fence-at-the-end": (
        "src/delivery/outbox/lane.rs",
        "AND token = $3 AND lease_until = $4",
        "AND $3 <> '' AND $4 > 0",
    ),
    # A document is kept although what it was encoded against stands no more.
    "the-look-back-at-what-was-known": (
        "src/delivery/outbox/accept.rs",
        "if stands != *against {",
        "if stands.targets != against.targets {",
    ),
    # What may be there already is sent again without looking.
    "the-search-before-resending": (
        "src/delivery/deliver/rounds.rs",
        "let mut seen = look.at(connection, references).await?;",
        "let mut seen = look.at(connection, references).await?;\n"
        "        if self.leased.sent_before.is_some() {\n"
        "            seen.found.clear();\n"
        "        }",
    ),
    # An attempt goes on after its lease.
    "the-cut-off": (
        "src/delivery/deliver/attempt.rs",
        "let left = left.saturating_sub(worker.lease.margin);",
        "let left = left.saturating_add(std::time::Duration::from_secs(3600));",
    ),
    # What was sent and is not seen is sent again before it had time to show.
    "the-window": (
        "src/delivery/deliver/rounds.rs",
        "(worker.clock.now() < shows).then(",
        "(worker.clock.now() < since).then(",
    ),
    # An instrument that was sent for and is not seen is sent for again.
    "the-window-of-an-instrument": (
        "src/delivery/deliver/parties.rs",
        "if !may_be_there {",
        "if !may_be_there || !wanted.is_empty() {",
    ),
}


def main() -> None:
    if sys.argv[1:] == ["--names"]:
        print("\n".join(EDITS))
        return
    name, folder = sys.argv[1:]
    path, text, instead = EDITS[name]
    file = pathlib.Path(folder) / path
    source = file.read_text(encoding="utf-8")
    if source.count(text) != 1:
        sys.exit(f"{name}: the text stands {source.count(text)} times in {path}, not once")
    file.write_text(source.replace(text, instead), encoding="utf-8")


main()
