"""Keep what is secret in a document out of everything that is written down."""

from dataclasses import replace

from sequencer.documents.bench import BenchDocument
from sequencer.documents.source import Source, parse_source
from sequencer.errors import DocumentError, Mistake

LEFT_OUT = "(left out)"


def without_secrets(source: Source, bench: BenchDocument) -> Source:
    """Return a bench document's text without the address that notifications go to.

    Raises
    ------
    DocumentError
        When the address is written in a way that can't be taken out, as with escapes.
    """
    table = bench.notifications
    if table is None or table.address is None:
        return source
    secret = table.address.get_secret_value()
    cleared = replace(source, text=source.text.replace(secret, LEFT_OUT))
    if parse_source(cleared)["notifications"]["address"] != LEFT_OUT:
        expected = "the address as plain text in single quotes, or in STEADYRAIL_NOTIFY"
        found = "an address with escapes, which could not be kept out of the record"
        raise DocumentError((Mistake(source.path, "notifications.address", found, expected),))
    return cleared
