"""A second worked shop: another currency, centimeters and kilograms, its own carrier, venues and mileage.

Invented throughout. 60 things of four kinds, bought and sold by a woman and her brother in a harbor town between
January and October 2026; the figures follow plain rules below, so that whoever reads a page can check it.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
from pathlib import Path

#: Kind, title, usual price, cost, sides [cm], weight [kg], days to a sale, minutes to clean and to pack.
KINDS = (
    ("enamelware", "Enamel coffee pot", 34, 4, (24, 20, 22), 1.6, 25, 12, 14),
    ("valve radios", "Valve radio, wooden case", 95, 18, (62, 34, 38), 9.5, 60, 55, 38),
    ("bentwood chairs", "Bentwood chair", 78, 15, (96, 52, 55), 6.8, 75, 48, 52),
    ("art glass", "Glass vase", 46, 7, (26, 26, 38), 2.4, 40, 8, 22),
)
EACH = 15
START = dt.date(2026, 1, 10)
LAST = dt.date(2026, 10, 31)

SHOP = (("name", "Harbor Loft (invented)"), ("currency", "EUR"), ("length_unit", "cm"), ("weight_unit", "kg"))

ASSUMPTIONS = """\
[hour]
target = "14.00"

[help]
wage = "15.00"

[label.assumed]
small = "6.50"
medium = "12.00"
bulky = "28.00"
oversize = "70.00"

[materials.assumed]
small = "1.10"
medium = "2.40"
bulky = "6.00"
oversize = "11.00"

[fees]
assumed_per_order = "0.35"

[postage]
rate_cards = "harbor-post"
zone_mix = { 1 = "60 %", 2 = "25 %", 3 = "15 %", 4 = "0 %", 5 = "0 %", 6 = "0 %", 7 = "0 %", 8 = "0 %" }

[pricing]
storage = "0.40"
"""

VENUE = """\
kind = "fees"
name = "pier"

[[block]]
from = 2026-01-01
source = "harbor"
seen = "invented for the demo"

[block.commission]
base = ["goods", "shipping"]
tier_kind = "marginal"
tiers = [{ rate = "9 %" }]

[block.payment]
base = ["goods", "shipping", "tax"]
rate = "1.8 %"
fixed = "0.30"
per = "order"

[block.listing]
fee = "0.00"
"""

CARRIER_RULES = """\
kind = "parcel rules"
name = "harbor-rules"
units = "cm, kg"

[[block]]
from = 2026-01-01
source = "harbor"
seen = "invented for the demo"
trigger_sides = "as rounded"
dimensional = { sides = "nearest", volume_over = 0, divisor = 6000, weight_step = 0.5 }
scale = { weight_step = 0.5 }
"""

RATE_CARD = """\
kind = "rate card"
name = "harbor-post"
parcel_rules = "harbor-rules"

[[block]]
from = 2026-01-01
source = "harbor"
seen = "invented for the demo"

[[block.service]]
name = "parcel"
table = "harbor-post-2026.csv"
"""

MILEAGE = """\
kind = "mileage"
name = "business kilometers"

[[block]]
from = 2026-01-01
source = "harbor"
seen = "invented for the demo"
cents_a_km = 30
"""

SOURCES = """\
[harbor]
title = "Tables of an invented harbor town"
where = "made for this shop"
"""


def _text(header: str, rows: list[list[object]]) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(header.split(","))
    writer.writerows(rows)
    return out.getvalue()


def texts() -> dict[str, str]:
    """Every file of the shop by name."""
    items: list[list[object]] = []
    work: list[list[object]] = []
    changes: list[list[object]] = []
    comparables: list[list[object]] = []
    trips: list[list[object]] = []
    for number in range(EACH * len(KINDS)):
        kind, at = KINDS[number % len(KINDS)], number // len(KINDS)
        name, title, price, cost, sides, kilos, wait, clean, pack = kind
        # A spread that repeats every five and every seven things, so that no two are alike.
        apart = 1 + 0.12 * ((number % 5) - 2) + 0.05 * ((number % 7) - 3)
        trip = number // 6
        bought = START + dt.timedelta(days=28 * trip)
        listed = bought + dt.timedelta(days=5 + number % 6)
        asked = round(price * apart * 1.1)
        gone_for = round(price * apart * (1.0 if number % 3 else 0.94), 2)
        sale = listed + dt.timedelta(days=round(wait * (0.4 + (number * 37 % 100) / 70)))
        item = f"H-{number + 1:03d}"
        sold = sale <= LAST and number % 10 != 9
        gone = number % 20 == 19
        row: list[object] = [
            item, f"{title} no. {at + 1}", name, bought, f"{cost * apart:.2f}", f"T-{trip + 1}", 1,
            *(round(side * (0.95 + 0.02 * (number % 5))) for side in sides), round(kilos * apart, 2),
            listed, f"{asked:.2f}",
        ]  # fmt: skip
        if sold:
            zone = (1, 1, 2, 1, 3)[number % 5]
            shipping = {"enamelware": 6.5, "art glass": 7.5, "valve radios": 12, "bentwood chairs": 19}[name]
            row += [sale, f"{gone_for:.2f}", f"{shipping:.2f}", "pier", zone, "", ""]
            if number % 2:
                work.append([sale + dt.timedelta(days=1), "pack", pack + number % 9, "Elin", item, "", 1])
        else:
            row += ["", "", "", "pier", "", *((LAST - dt.timedelta(days=9), "donated") if gone else ("", ""))]
            changed = listed + dt.timedelta(days=45)
            if changed <= LAST and not gone:
                changes.append([item, changed, f"{asked * 0.88:.2f}"])
        items.append(row)
        if number % 3 == 0:
            work.append([listed - dt.timedelta(days=2), "clean", clean + number % 7, "Elin", item, "", 1])
        if number % 6 == 0:
            trips.append([f"T-{trip + 1}", bought, 38 + 7 * (trip % 4), "3.00"])
            work.append([bought, "find", 150 + 10 * (trip % 3), "Elin", "", f"T-{trip + 1}", 6])
        if number // 4 % 2 == 0:
            seen = bought - dt.timedelta(days=20)
            comparables.append([name, seen, f"{price * apart * 0.97:.2f}"])
    measures = "length,width,height,weight"
    return {
        "shop.csv": _text("key,value", [list(pair) for pair in SHOP]),
        "items.csv": _text(
            f"item_id,title,category,bought_on,cost,trip_id,quantity,{measures},listed_on,list_price,sold_on,"
            "sold_price,shipping_charged,venue,zone,gone_on,gone_how",
            items,
        ),
        "work.csv": _text("date,activity,minutes,worker,item_id,trip_id,count", work),
        "price_changes.csv": _text("item_id,changed_on,price", changes),
        "trips.csv": _text("trip_id,date,km,parking", trips),
        "comparables.csv": _text("category,sold_on,price", comparables),
        "overheads.csv": _text(
            "month,what,amount", [[f"2026-{month:02d}", "the loft", "40.00"] for month in range(1, 11)]
        ),
        "people.csv": _text("worker,role,share_of_profit", [["Elin", "owner", "60 %"], ["Aatos", "owner", "40 %"]]),
        "supplies.csv": _text("date,supply,quantity,unit,cost", [["2026-01-12", "cartons", 30, "carton", "42.00"]]),
        "assumptions.toml": ASSUMPTIONS,
        "rules/sources.toml": SOURCES,
        "rules/fees/pier.toml": VENUE,
        "rules/parcels/harbor-rules.toml": CARRIER_RULES,
        "rules/rate_cards/harbor-post.toml": RATE_CARD,
        "rules/rate_cards/harbor-post-2026.csv": _text(
            "weight,1,2,3",
            [[kilos, *(f"{base + kilos * step:.2f}" for base, step in ((5.2, 0.55), (6.9, 0.8), (11.5, 1.6)))]
             for kilos in (*range(1, 21), 25, 30, 40, 50)],
        ),
        "rules/mileage/kilometers.toml": MILEAGE,
    }  # fmt: skip


def make(folder: Path) -> Path:
    """The shop's books in a folder."""
    for name, text in texts().items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return folder
