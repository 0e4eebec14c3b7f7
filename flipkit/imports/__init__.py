"""A stranger's export, merged into the books; here what a conversion may be told, as options and as answers."""

from flipkit.books import schema

_EACH = {"each": "for one, so the row counts that times the quantity", "row": "for all of the row"}
_WHOSE = {"order": "it was paid once for the order and is shared among its items", "line": "it was paid for each line"}

#: Answers that a proposal understands, beside those that name a column or a header: what each is, and its words with
#: what they mean, where they are few.
ANSWERS: dict[str, tuple[str, dict[str, str]]] = {
    "table": ("Table of the books that the rows belong to.", dict.fromkeys((*schema.BY_NAME, "labels"), "")),
    "sheet": ("Sheet of a workbook, or table of a file with several.", {}),
    "encoding": ("Encoding of the text, such as cp1252.", {}),
    "delimiter": ("What stands between the cells: comma, semicolon, tab, bar, or the mark itself.", {}),
    "quote": ("What stands around a cell: double, single or none.", {}),
    "header-row": ("Row of the headers, 0 for none.", {}),
    "dates": ("Order of day and month.", {"day-month-year": "", "month-day-year": "", "year-month-day": ""}),
    "year": ("Year of days that are written without one.", {}),
    "decimal": ("Mark before the cents.", {"point": "", "comma": ""}),
    "currency": ("Currency of the amounts, three letters.", {}),
    "duplicates": (
        "What rows that are exactly equal are.",
        {
            "separate": "they are separate things and all count",
            "once": "they are copies and count once; they are listed",
        },
    ),
    "totals": (
        "What rows that look like totals are.",
        {"leave-out": "it adds up others and is no record", "keep": "it is a record like the others"},
    ),
    "cost-is": ("What the cost is of, where the quantity is above 1.", _EACH),
    "cost-zero": (
        "What a cost of 0 in every row is.",
        {"free": "all of it was free", "unknown": "not known: the cost stays blank"},
    ),
    "quantity-is": (
        "What the quantity counts, beside how many sold.",
        {"bought": "all that came in, the sold ones among them", "left": "what is left"},
    ),
    "price-is": ("What the sold price is of, where the quantity is above 1.", _EACH),
    "list-is": ("What the list price is of, where the quantity is above 1.", _EACH),
    "shipping-is": ("What the shipping is of.", _WHOSE),
    "fees-are": ("What the fees are of.", _WHOSE),
    "refunds": (
        "What rows with a negative price are.",
        {
            "join": "money given back: it goes to the sale of the same order",
            "refuse": "list these rows and take the others",
        },
    ),
    "ids": (
        "What rows with one number are.",
        {
            "separate": "different things: the second gets -2 behind its number",
            "same": "one thing, written more than once",
            "note": "the number names no thing: each row gets a name of its own",
        },
    ),
    "names": (
        "Whose rows without the number that the books go by are.",
        {"match": "these rows are those items, where one title fits one item", "new": "these rows are other things"},
    ),
    "length-unit": ("Unit of bare sides.", {"in": "inches", "cm": "centimeters", "mm": "millimeters", "ft": "feet"}),
    "weight-unit": ("Unit of bare weights.", {"lb": "pounds", "oz": "ounces", "kg": "kilograms", "g": "grams"}),
    "time-unit": ("Unit of bare times.", {"min": "minutes", "hour": "hours", "s": "seconds"}),
    "unmatched": (
        "What becomes of sales that match no item of the books.",
        {"refuse": "list them and take the others", "new": "make items of them; what else they need must be said"},
    ),
}
