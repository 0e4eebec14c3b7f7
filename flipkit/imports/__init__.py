"""A stranger's export, merged into the books; here what a conversion may be told, as options and as answers."""

from flipkit.books import schema

_EACH = {"each": "for one, so the row counts that times the quantity", "row": "for all of the row"}
_WHOSE = {"order": "it was paid once for the order and is shared among its items", "line": "it was paid for each line"}

#: Answers that a proposal understands, beside those that name a column or a header: what each is, and its words with
#: what they mean, where they are few.
ANSWERS: dict[str, tuple[str, dict[str, str]]] = {
    "table": ("Table of the books that the rows go into.", dict.fromkeys((*schema.BY_NAME, "labels"), "")),
    "sheet": ("Sheet of the workbook, or table of the file, to read.", {}),
    "encoding": ("Encoding of the text, such as cp1252.", {}),
    "delimiter": ("Mark between the cells: comma, semicolon, tab, bar, or the mark itself.", {}),
    "quote": ("Quotes around a cell: double, single or none.", {}),
    "header-row": ("Number of the row with the headers, 0 for none.", {}),
    "dates": ("Order of day and month in dates.", {"day-month-year": "", "month-day-year": "", "year-month-day": ""}),
    "year": ("Year for dates that are written without one.", {}),
    "decimal": ("Mark before the cents.", {"point": "", "comma": ""}),
    "currency": ("Currency of the amounts, in three letters.", {}),
    "duplicates": (
        "How to count rows that are exactly the same.",
        {
            "separate": "they are separate things and all count",
            "once": "they are copies and count once; they are listed",
        },
    ),
    "totals": (
        "How to take rows that look like totals.",
        {"leave-out": "it adds up others and is no record", "keep": "it is a record like the others"},
    ),
    "cost-is": ("Whether the cost is for one thing or the row, if the quantity is above 1.", _EACH),
    "cost-zero": (
        "What a cost of 0 in every row means.",
        {"free": "all of it was free", "unknown": "not known: the cost stays blank"},
    ),
    "quantity-is": (
        "What the quantity counts, if the export also counts what sold.",
        {"bought": "all that came in, the sold ones among them", "left": "what is left"},
    ),
    "price-is": ("Whether the sold price is for one thing or the row, if the quantity is above 1.", _EACH),
    "list-is": ("Whether the list price is for one thing or the row, if the quantity is above 1.", _EACH),
    "shipping-is": ("Whether the shipping was paid once an order or for each line.", _WHOSE),
    "fees-are": ("Whether the fees were paid once an order or for each line.", _WHOSE),
    "refunds": (
        "How to take rows with a negative price.",
        {
            "join": "money given back: it goes to the sale of the same order",
            "refuse": "list these rows and take the others",
        },
    ),
    "ids": (
        "How to take rows that share one number.",
        {
            "separate": "different things: the second gets -2 behind its number",
            "same": "one thing, written more than once",
            "note": "the number names no thing: each row gets a name of its own",
        },
    ),
    "names": (
        "How to match rows that lack the number that the books use.",
        {"match": "these rows are those items, where one title fits one item", "new": "these rows are other things"},
    ),
    "length-unit": (
        "Unit of sides that name none.",
        {"in": "inches", "cm": "centimeters", "mm": "millimeters", "ft": "feet"},
    ),
    "weight-unit": (
        "Unit of weights that name none.",
        {"lb": "pounds", "oz": "ounces", "kg": "kilograms", "g": "grams"},
    ),
    "time-unit": ("Unit of times that name none.", {"min": "minutes", "hour": "hours", "s": "seconds"}),
    "unmatched": (
        "What to do with sales that match no item of the books.",
        {"refuse": "list them and take the others", "new": "make items of them; what else they need must be said"},
    ),
}
