"""A stranger's export, merged into the books; here what a conversion may be told, as options and as answers."""

#: Answers that a proposal understands, beside those that name a column or a header: what each is, and its words.
ANSWERS: dict[str, tuple[str, tuple[str, ...]]] = {
    "table": (
        "Table of the books that the rows belong to.",
        ("items", "price_changes", "work", "trips", "lots", "supplies", "comparables", "overheads", "people", "labels"),
    ),
    "sheet": ("Sheet of a workbook.", ()),
    "encoding": ("Encoding of the text, such as cp1252.", ()),
    "delimiter": ("What stands between the cells: comma, semicolon, tab, bar, or the mark itself.", ()),
    "quote": ("What stands around a cell: double, single or none.", ()),
    "header-row": ("Row of the headers, 0 for none.", ()),
    "dates": ("Order of day and month.", ("day-month-year", "month-day-year", "year-month-day")),
    "year": ("Year of days that are written without one.", ()),
    "decimal": ("Mark before the cents.", ("point", "comma")),
    "currency": ("Currency of the amounts, three letters.", ()),
    "duplicates": ("What rows that are exactly equal are.", ("separate", "once")),
    "totals": ("What rows that look like totals are.", ("leave-out", "keep")),
    "cost-is": ("What the cost is of, where the quantity is above 1.", ("each", "row")),
    "cost-zero": ("What a cost of 0 in every row is.", ("free", "unknown")),
    "quantity-is": ("What the quantity counts, beside how many sold.", ("bought", "left")),
    "price-is": ("What the sold price is of, where the quantity is above 1.", ("each", "row")),
    "list-is": ("What the list price is of, where the quantity is above 1.", ("each", "row")),
    "shipping-is": ("What the shipping is of.", ("order", "line")),
    "fees-are": ("What the fees are of.", ("order", "line")),
    "refunds": ("What rows with a negative price are.", ("join", "refuse")),
    "ids": ("What rows with one number are.", ("separate", "same", "note")),
    "names": ("Whose rows without the number that the books go by are.", ("match", "new")),
    "length-unit": ("Unit of bare sides.", ("in", "cm", "mm", "ft")),
    "weight-unit": ("Unit of bare weights.", ("lb", "oz", "kg", "g")),
    "time-unit": ("Unit of bare times.", ("min", "hour", "s")),
    "unmatched": ("What becomes of sales that match no item of the books.", ("refuse", "new")),
}
