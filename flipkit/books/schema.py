"""The tables of the books as data: every table and column, its kind, unit and meaning, once.

The reader, the template folder and the documentation are made from this module.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import Literal

Kind = Literal["id", "text", "date", "month", "money", "signed money", "length", "weight", "number", "count"]
#: Kinds that only some tables have.
RareKind = Literal["minutes", "miles", "rate", "choice"]

#: The ten activities of the trade, in the order in which an item meets them.
ACTIVITIES = ("find", "research", "clean", "photograph", "write", "store", "messages", "pack", "post", "returns")
#: The same as words for doing them, wherever a sentence, a table or a chart names them.
DOING = dict(zip(ACTIVITIES, ACTIVITIES, strict=True)) | {
    "find": "finding",
    "research": "researching",
    "clean": "cleaning",
    "photograph": "photographing",
    "write": "writing the listing",
    "store": "storing",
    "messages": "answering messages",
    "pack": "packing",
    "post": "shipping",
    "returns": "handling returns",
}
#: Zone of a sale that the buyer collects: no label.
PICKUP = "pickup"


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table."""

    name: str
    kind: Kind | RareKind
    meaning: str
    required: bool = False
    unit: str = ""
    choices: tuple[str, ...] = ()
    default: str = ""
    example: str = ""
    #: The column of the day before which it is not known; empty for what is known from the first.
    known_on: str = ""

    @property
    def frame_name(self) -> str:
        """Name in the frame: money ends in ``_cents``, a rate in ``_ppm``."""
        if self.kind in ("money", "signed money"):
            return f"{self.name}_cents"
        return f"{self.name}_ppm" if self.kind == "rate" else self.name


@dataclass(frozen=True, slots=True)
class Table:
    """One table of the books."""

    name: str
    meaning: str
    columns: tuple[Column, ...]
    key: str = ""

    @property
    def file(self) -> str:
        """Name of the CSV file."""
        return f"{self.name}.csv"

    def column(self, name: str) -> Column:
        """The column of that name."""
        for column in self.columns:
            if column.name == name:
                return column
        raise KeyError(name)

    @property
    def day(self) -> str:
        """The column that says when a row happened; empty where none does."""
        return next((column.name for column in self.columns if column.kind in ("date", "month")), "")

    @property
    def required(self) -> tuple[str, ...]:
        """Names of the columns that must be there."""
        return tuple(column.name for column in self.columns if column.required)


def _c(name: str, kind: Kind | RareKind, meaning: str, example: str = "", **more: object) -> Column:
    return Column(name, kind, meaning, example=example, **more)  # type: ignore[arg-type]


#: Columns of a sale and of a return: what the books held before that day does not tell them.
_of_sale = functools.partial(_c, known_on="sold_on")
_of_return = functools.partial(_c, known_on="returned_on")

ITEMS = Table(
    "items",
    "one thing, or one set sold as one",
    (
        _c("item_id", "id", "your own name for the item, different for each", "A-0001", required=True),
        _c("title", "text", "what it is", "Stoneware crock, 2 gallon", required=True),
        _c(
            "category",
            "text",
            "the kind of thing; reports compare categories",
            "stoneware",
            required=True,
            default="unsorted",
        ),
        _c("bought_on", "date", "the day you bought it", "2026-03-07", required=True),
        _c(
            "cost",
            "money",
            "paid for the whole row, all of its quantity; may stay blank when lot_id names a lot (then: its share)",
            "18.00",
            required=True,
        ),
        _c("lot_id", "id", "the lot that it came in, a row of lots", "L-07"),
        _c("trip_id", "id", "the sourcing trip that found it, a row of trips", "T-2026-03-07"),
        _c("source", "text", "where it came from", "estate sale"),
        _c("condition", "text", "its condition in your own words", "good"),
        _c(
            "quantity",
            "count",
            "how many like things the row stands for; they become so many items, which share the row's money",
            "1",
            default="1",
        ),
        _c("length_in", "length", "outside of the packed parcel", "14", unit="in"),
        _c("width_in", "length", "outside of the packed parcel", "12", unit="in"),
        _c("height_in", "length", "outside of the packed parcel", "16", unit="in"),
        _c("weight_lb", "weight", "weight of the packed parcel", "17.5", unit="lb"),
        _c("listed_on", "date", "the day it was first put up for sale", "2026-03-14"),
        _c("list_price", "money", "what was first asked", "85.00"),
        _c("sold_on", "date", "the day it sold; blank while unsold", "2026-04-02"),
        _of_sale("sold_price", "money", "what the buyer paid for the goods alone, before tax and shipping", "78.00"),
        _of_sale("shipping_charged", "money", "what the buyer paid for shipping", "24.00"),
        _c("venue", "text", "where it is listed or was sold; names a fee schedule", "riverside"),
        _c("zone", "text", f"postal zone of the buyer, or {PICKUP} when the buyer collects it", "4"),
        _c("order_id", "id", "the order that sold it; items of one order share a parcel", "1042"),
        _of_sale("tax_paid", "money", "sales tax that the buyer paid on top; some fees are taken of it too", "6.20"),
        _of_sale(
            "fees_paid", "money", "fees of the venue for this sale, as charged; listing fees are counted apart", "11.40"
        ),
        _of_return("fees_refunded", "money", "fees that the venue gave back with a refund", "9.10"),
        _of_sale("label_paid", "money", "what the shipping label cost, with any protection that stands in it", "22.15"),
        _of_sale(
            "declared_value",
            "money",
            "what the parcel was declared to be worth; prices its protection where the label is not recorded",
            "150.00",
        ),
        _of_sale(
            "protection_paid", "money", "declared value and signature, where they were paid beside the label", "3.45"
        ),
        _of_sale("label_adjustment", "signed money", "a later charge by the carrier, or minus a later credit", "3.10"),
        _of_sale("materials_paid", "money", "carton, cushioning and tape for this parcel", "2.80"),
        _of_return("refund", "money", "given back to the buyer", "10.00"),
        _c("returned_on", "date", "the day it came back", "2026-04-20"),
        _c("gone_on", "date", "the day it left the stock without a sale", "2026-09-01"),
        _c("gone_how", "choice", "how it left", "donated", choices=("donated", "scrapped", "kept")),
        _c("note", "text", "anything else", ""),
    ),
    key="item_id",
)

PRICE_CHANGES = Table(
    "price_changes",
    "one change of an item's asking price",
    (
        _c("item_id", "id", "the item", "A-0001", required=True),
        _c("changed_on", "date", "the day of the change", "2026-03-28", required=True),
        _c("price", "money", "the new asking price", "79.00", required=True),
    ),
)

WORK = Table(
    "work",
    "one stretch of work",
    (
        _c("date", "date", "the day", "2026-03-10", required=True),
        _c("activity", "choice", "what was done", "photograph", required=True, choices=ACTIVITIES),
        _c("minutes", "minutes", "how long this one worker took for all of it", "35", required=True, unit="min"),
        _c("worker", "id", "who did it, a row of people; two at once are two rows", "me", required=True),
        _c("item_id", "id", "the item it was for", "A-0001"),
        _c("trip_id", "id", "the trip it was for", ""),
        _c("category", "text", "the category it was for", ""),
        _c("count", "count", "how many items it covered", "1"),
    ),
)

TRIPS = Table(
    "trips",
    "one outing to buy",
    (
        _c("trip_id", "id", "your own name for the trip", "T-2026-03-07", required=True),
        _c("date", "date", "the day", "2026-03-07", required=True),
        _c("miles", "miles", "driven there and back", "31", unit="mile"),
        _c("parking", "money", "parking and tolls", "4.00"),
        _c("entry", "money", "entry or early-bird fee", "5.00"),
    ),
    key="trip_id",
)

LOTS = Table(
    "lots",
    "several items bought for one price",
    (
        _c("lot_id", "id", "your own name for the lot", "L-07", required=True),
        _c("date", "date", "the day you bought it", "2026-03-07", required=True),
        _c("cost", "money", "what was paid for all of it", "60.00", required=True),
        _c(
            "share_by",
            "choice",
            "how its cost is shared among its items",
            "equal",
            choices=("expected value", "equal", "weight"),
        ),
    ),
    key="lot_id",
)

SUPPLIES = Table(
    "supplies",
    "one purchase of packing supplies",
    (
        _c("date", "date", "the day", "2026-02-20", required=True),
        _c("supply", "text", "what was bought", "bubble wrap", required=True),
        _c("quantity", "number", "how much of it, in its unit", "175", required=True),
        _c("unit", "text", "its unit", "ft", required=True),
        _c("cost", "money", "what was paid for all of it", "38.50", required=True),
    ),
)

COMPARABLES = Table(
    "comparables",
    "one recorded sale of a like thing by somebody else",
    (
        _c("item_id", "id", "the item it is like; this or category is needed", "A-0001"),
        _c("category", "text", "the category it is like", ""),
        _c("sold_on", "date", "the day it sold", "2026-02-11", required=True),
        _c("price", "money", "what it sold for, goods alone", "82.00", required=True),
        _c("condition", "text", "its condition", "good"),
    ),
)

OVERHEADS = Table(
    "overheads",
    "one cost of a month that belongs to no single item",
    (
        _c("month", "month", "the month", "2026-03", required=True),
        _c("what", "text", "what it was for", "storage unit", required=True),
        _c("amount", "money", "what it cost", "45.00", required=True),
    ),
)

PEOPLE = Table(
    "people",
    "one person who works for the shop",
    (
        _c("worker", "id", "the name that stands in work", "me", required=True),
        _c("role", "choice", "owner, or hired by the hour", "owner", choices=("owner", "hired"), default="owner"),
        _c("wage", "money", "paid per hour; blank for an owner", ""),
        _c("payroll_burden", "rate", "taxes and insurance on top of the wage, such as 7.65 %", ""),
        _c("share_of_profit", "rate", "an owner's share, such as 50 %", "100 %"),
    ),
    key="worker",
)

#: Every table, in the order of the design.
TABLES: tuple[Table, ...] = (
    ITEMS,
    PRICE_CHANGES,
    WORK,
    TRIPS,
    LOTS,
    SUPPLIES,
    COMPARABLES,
    OVERHEADS,
    PEOPLE,
)
BY_NAME: dict[str, Table] = {table.name: table for table in TABLES}

#: The settings of the shop: key, meaning, default.
SHOP: tuple[tuple[str, str, str], ...] = (
    ("name", "what the reports call the shop", "My shop"),
    ("currency", "the one currency of the books, three letters", "USD"),
    ("length_unit", "unit of a bare number in length, width and height: in, ft, cm, mm or m", "in"),
    ("weight_unit", "unit of a bare number in weight: lb, oz, kg or g", "lb"),
)

#: Units that a shop may declare.
SHOP_UNITS = {"length_unit": ("in", "ft", "cm", "mm", "m"), "weight_unit": ("lb", "oz", "kg", "g")}


def setting_needs(key: str, value: str) -> str:
    """What a setting of the shop needs where a value is none; empty for a good one."""
    if key == "currency" and not (len(value) == 3 and value.isascii() and value.isalpha() and value.isupper()):
        return "three capital letters such as USD"
    return f"one of {', '.join(SHOP_UNITS[key])}" if value not in SHOP_UNITS.get(key, (value,)) else ""


#: Other headers for a side, the weight or a distance: header, the column it stands for, the unit of a bare
#: number ("" is the unit that the shop declares).
OTHER_UNITS: dict[str, tuple[str, str]] = {
    **{
        f"{side}{tail}": (f"{side}_in", unit)
        for side in ("length", "width", "height")
        for tail, unit in (("", ""), ("_in", "in"), ("_cm", "cm"), ("_mm", "mm"), ("_ft", "ft"))
    },
    # In a trip's table alone: how far was driven.
    "km": ("miles", "km"),
    "kilometers": ("miles", "km"),
    **{
        f"weight{tail}": ("weight_lb", unit)
        for tail, unit in (("", ""), ("_lb", "lb"), ("_oz", "oz"), ("_kg", "kg"), ("_g", "g"))
    },
}
