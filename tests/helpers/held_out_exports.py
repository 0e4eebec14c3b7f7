"""Exports held out: written before the door's word lists were read, each with the truth beside it.

The headers are what people of seven languages and small programs write; none is the export of one known program.
"""

from __future__ import annotations

import datetime as dt
import random
from collections.abc import Iterable
from decimal import Decimal

from tests.helpers.people_exports import Made

DAY = dt.date(2026, 2, 3)
THINGS = {
    "en": ("butter churn", "hall mirror", "quilt", "bread box", "desk fan", "barometer", "cake stand"),
    "de": ("Standuhr", "Kaffeemühle", "Zinnkrug", "Stehlampe", "Brotkasten", "Spiegel", "Nähkasten"),
    "fr": ("miroir", "soupière", "carafe", "moulin à café", "tabouret", "plateau", "bougeoir"),
    "es": ("espejo", "cántaro", "candelabro", "molinillo", "bandeja", "taburete", "botijo"),
    "it": ("specchio", "zuppiera", "candelabro", "macinino", "vassoio", "sgabello", "caraffa"),
    "nl": ("spiegel", "soepterrine", "kandelaar", "koffiemolen", "dienblad", "krukje", "karaf"),
    "pl": ("lustro", "waza", "świecznik", "młynek", "taca", "taboret", "karafka"),
}
Row = tuple[list[object], "dict[str, object] | list[dict[str, object]] | None"]


def plain(cents: int | None, form: str = "{}", *, comma: bool = False, group: str = "") -> str:
    """An amount in the writer's form."""
    if cents is None:
        return ""
    text = f"{Decimal(abs(cents)) / 100:,.2f}"
    text = text.replace(",", "~").replace(".", "," if comma else ".").replace("~", group)
    return ("-" if cents < 0 else "") + form.format(text)


def laid(name: str, table: str, columns: dict[str, str], rows: Iterable[Row], **more: object) -> Made:
    """One export: its headers and what each means, its rows and what each is in the books."""
    say = {"table": table, "totals": "leave-out", "duplicates": "separate", "unmatched": "new", "header-row": ""}
    say |= {"cost-is": "row", "price-is": "row", "list-is": "row", "shipping-is": "line", "names": "new"}
    say |= more.pop("say", {})  # type: ignore[arg-type]
    made = Made(name, "held out", table, list(columns), say=say, **more)  # type: ignore[arg-type]
    made.means = {header: column for header, column in columns.items() if column}
    for cells, truth in rows:
        several = truth if isinstance(truth, list) else [truth]
        made.add(dict(zip(columns, map(str, cells), strict=True)), several[0])
        at = len(made.above) + 1 + len(made.rows)
        made.truth.extend({"row": at, **other} for other in several[1:] if other is not None)
    return made


def drawn(name: str, language: str, count: int = 24) -> Iterable[tuple[int, random.Random, str, dt.date, dt.date]]:
    """Number, chance, title, day of purchase and day of sale of each thing."""
    chance = random.Random(f"held out {name}")  # noqa: S311 - a draw of exports, not a secret
    for at in range(1, count + 1):
        bought = DAY + dt.timedelta(days=chance.randrange(120))
        yield (
            at,
            chance,
            f"{chance.choice(THINGS[language])} {at}",
            bought,
            bought + dt.timedelta(days=chance.randint(4, 70)),
        )


UNSORTED = {"category": "unsorted", "bought_on": "2026-01-01", "cost": ""}
BLANK = {"category": "unsorted", "bought_on": dt.date(2026, 1, 1), "cost": None}


def order_refund_column() -> Made:
    """An order export with a column of what was given back."""
    rows: list[Row] = []
    for at, chance, title, _, sold in drawn("refund column", "en"):
        price, ship = chance.randint(1500, 90_000), chance.randint(500, 3000)
        back = price // 3 if at % 8 == 5 else 0
        cells = [
            f"#10{at:02}",
            f"{sold} 14:0{at % 6}",
            title,
            plain(price, "${}"),
            plain(ship, "${}"),
            plain(back, "${}"),
        ]
        truth = {
            **BLANK,
            "title": title,
            "sold_on": sold,
            "sold_price": price,
            "shipping_charged": ship,
            "refund": back,
        }
        rows.append((cells, truth))
    columns = {
        "Order #": "order_id", "Paid at": "sold_on", "Line item": "title", "Line price": "sold_price",
        "Postage paid by buyer": "shipping_charged", "Refunded": "refund",
    }  # fmt: skip
    return laid("refund-column", "items", columns, rows, fixed=UNSORTED, say={"currency": "USD"})


def order_refund_rows() -> Made:
    """A German order list: a row of money back repeats its order with a minus."""
    rows: list[Row] = []
    for at, chance, title, _, sold in drawn("refund rows", "de"):
        price = chance.randint(1500, 60_000)
        truth = {**BLANK, "title": title, "sold_on": sold, "sold_price": price}
        rows.append(([f"B-{at}", f"{sold:%d.%m.%Y}", title, plain(price, "{} EUR", comma=True, group=".")], truth))
        if at % 9 == 4:
            truth["refund"] = price // 2
            back = sold + dt.timedelta(days=9)
            rows.append(([f"B-{at}", f"{back:%d.%m.%Y}", title, plain(-(price // 2), "{} EUR", comma=True)], None))
    columns = {"Auftrags-Nr.": "order_id", "Datum der Bestellung": "sold_on", "Produkt": "title", "Summe": "sold_price"}
    say = {"dates": "day-month-year", "decimal": "comma", "currency": "EUR"}
    return laid("refund-rows", "items", columns, rows, fixed=UNSORTED, delimiter=";", say=say)


def two_currencies() -> Made:
    """Sales in pounds and in euro, the currency in a column of its own."""
    rows: list[Row] = []
    for at, chance, title, bought, sold in drawn("two currencies", "en"):
        cost, price = chance.randint(300, 4000), chance.randint(4000, 20_000)
        own = at % 6 != 2
        cells = [title, "china", bought, plain(cost), sold, plain(price), "GBP" if own else "EUR"]
        truth = {"title": title, "category": "china", "bought_on": bought, "cost": cost, "sold_on": sold}
        rows.append((cells, {**truth, "sold_price": price} if own else None))
    columns = {
        "Name of item": "title", "Group": "category", "Date of purchase": "bought_on", "Buy price": "cost",
        "Date of sale": "sold_on", "Sell price": "sold_price", "Curr.": "",
    }  # fmt: skip
    return laid("two-currencies", "items", columns, rows, say={"currency": "GBP", "dates": "year-month-day"})


def sizes_in_one_cell() -> Made:
    """Three sides in one cell, without a unit."""
    rows: list[Row] = []
    for _, chance, title, bought, _ in drawn("one cell", "en"):
        sides = sorted((chance.randint(5, 30) for _ in range(3)), reverse=True)
        cost, pounds = chance.randint(200, 5000), chance.randint(1, 30)
        cells = [
            title,
            "kitchen",
            f"{bought:%m/%d/%Y}",
            plain(cost, "${}"),
            f"{sides[0]}x{sides[1]}x{sides[2]}",
            pounds,
        ]
        truth = {"title": title, "category": "kitchen", "bought_on": bought, "cost": cost, "weight_lb": pounds}
        rows.append((cells, truth | dict(zip(("length_in", "width_in", "height_in"), map(float, sides), strict=True))))
    columns = {
        "Product": "title", "Department": "category", "Acquired": "bought_on", "My cost": "cost",
        "Box size": "length_in", "Box weight": "weight_lb",
    }  # fmt: skip
    return laid(
        "one-cell",
        "items",
        columns,
        rows,
        say={"dates": "month-day-year"},
        units={"length-unit": "in", "weight-unit": "lb"},
    )


def sizes_in_one_cell_german() -> Made:
    """Three sides in one cell, the unit in the header; grams."""
    rows: list[Row] = []
    for _, chance, title, bought, _ in drawn("Masse", "de"):
        sides = [round(chance.uniform(8, 90), 1) for _ in range(3)]
        cost, grams = chance.randint(200, 5000), chance.randint(150, 9000)
        said = " x ".join(f"{side}".replace(".", ",") for side in sides)
        cells = [title, "Haushalt", f"{bought:%d.%m.%Y}", plain(cost, "{} €", comma=True, group="."), said, grams]
        truth = {
            "title": title,
            "category": "Haushalt",
            "bought_on": bought,
            "cost": cost,
            "weight_lb": grams / 453.59237,
        }
        names = ("length_in", "width_in", "height_in")
        rows.append((cells, truth | dict(zip(names, (side / 2.54 for side in sides), strict=True))))
    columns = {
        "Gegenstand": "title", "Rubrik": "category", "Erworben am": "bought_on", "Bezahlt": "cost",
        "Maße (cm)": "length_in", "Gewicht (g)": "weight_lb",
    }  # fmt: skip
    say = {"dates": "day-month-year", "decimal": "comma", "currency": "EUR"}
    return laid("masse", "items", columns, rows, delimiter=";", say=say)


def two_row_headers() -> Made:
    """A French sheet: a band of groups above the headers, each group named over its first column alone."""
    rows: list[Row] = []
    for _, chance, title, bought, sold in drawn("deux lignes", "fr"):
        cost, price = chance.randint(200, 5000), chance.randint(4000, 20_000)
        cells = [
            title,
            "maison",
            f"{bought:%d/%m/%Y}",
            plain(cost, comma=True),
            f"{sold:%d/%m/%Y}",
            plain(price, comma=True),
        ]
        truth = {
            "title": title,
            "category": "maison",
            "bought_on": bought,
            "cost": cost,
            "sold_on": sold,
            "sold_price": price,
        }
        rows.append((cells, truth))
    columns = {
        "Nom de l'objet": "title", "Famille": "category", "Achat Jour": "bought_on", "Achat Prix": "cost",
        "Vente Jour": "sold_on", "Vente Prix": "sold_price",
    }  # fmt: skip
    made = laid("deux-lignes", "items", columns, rows, delimiter=";", above=[["", "", "Achat", "", "Vente", ""]])
    made.headers = ["Nom de l'objet", "Famille", "Jour", "Prix", "Jour", "Prix"]
    made.say |= {"dates": "day-month-year", "decimal": "comma", "currency": "EUR", "header-row": "2"}
    return made


def partly_sold() -> Made:
    """A Spanish list of like things: how many came in, how many of them sold."""
    rows: list[Row] = []
    for at, chance, title, bought, sold in drawn("vendidas", "es"):
        many = 1 + at % 5
        gone = at % (many + 1)
        cost, price = 100 * many * chance.randint(2, 40), chance.randint(4000, 20_000)
        common = {"title": title, "category": "casa", "bought_on": bought}
        # The books hold each of several like things apart, the row's money shared among them to the cent.
        shares = [price * (n + 1) // gone - price * n // gone for n in range(gone)]
        truth = [{**common, "cost": cost // many, "sold_on": sold, "sold_price": share} for share in shares]
        truth += [{**common, "cost": cost // many}] * (many - gone)
        day = f"{sold:%d/%m/%Y}" if gone else ""
        cells = [title, "casa", f"{bought:%d/%m/%Y}", many, plain(cost, comma=True), gone, day]
        rows.append(([*cells, plain(price if gone else None, comma=True)], truth))
    columns = {
        "Producto": "title", "Grupo": "category", "Compra": "bought_on", "Cantidad": "quantity",
        "Coste total": "cost", "Unidades vendidas": "quantity_sold", "Venta": "sold_on", "Cobrado": "sold_price",
    }  # fmt: skip
    say = {"dates": "day-month-year", "decimal": "comma", "currency": "EUR"}
    return laid("vendidas", "items", columns, rows, delimiter=";", say=say)


def italian_sales() -> Made:
    """An Italian register of sales with postage as a cost."""
    rows: list[Row] = []
    for _, chance, title, bought, sold in drawn("registro", "it"):
        cost, price = chance.randint(200, 5000), chance.randint(4000, 20_000)
        post, share = chance.randint(400, 2000), price // 10
        money = [plain(cents, "€ {}", comma=True, group=".") for cents in (cost, price, share, post)]
        cells = [title, "casa", f"{bought:%d-%m-%Y}", money[0], f"{sold:%d-%m-%Y}", *money[1:]]
        truth = {"title": title, "category": "casa", "bought_on": bought, "cost": cost, "sold_on": sold}
        rows.append((cells, truth | {"sold_price": price, "fees_paid": share, "label_paid": post}))
    columns = {
        "Prodotto": "title", "Genere": "category", "Giorno acquisto": "bought_on", "Pagato": "cost",
        "Giorno vendita": "sold_on", "Incassato": "sold_price", "Trattenute": "fees_paid",
        "Spese postali": "label_paid",
    }  # fmt: skip
    say = {"dates": "day-month-year", "decimal": "comma", "currency": "EUR"}
    return laid("registro", "items", columns, rows, delimiter=";", say=say)


def dutch_bank() -> Made:
    """A Dutch bank list: a column says whether money went or came."""
    rows: list[Row] = []
    for at, chance, _, day, _ in drawn("afschrift", "nl", 40):
        what = chance.choice(["opslagruimte", "hosting winkel", "boodschappen", "salaris"])
        cents = chance.randint(900, 9000)
        out = what != "salaris"
        cells = [f"{day:%Y%m%d}", what, f"NL00 {at:04}", "Af" if out else "Bij", plain(cents, comma=True)]
        kept = what in ("opslagruimte", "hosting winkel")
        rows.append((cells, {"month": f"{day:%Y-%m}", "what": what, "amount": cents} if kept else None))
    columns = {"Datum": "month", "Naam / Omschrijving": "what", "Rekening": "", "Af Bij": "", "Bedrag (EUR)": "amount"}
    say = {"dates": "year-month-day", "decimal": "comma", "currency": "EUR", "keep": "opslag|hosting", "skip": ""}
    return laid("afschrift", "overheads", columns, rows, delimiter=";", say=say)


def bank_out_and_in() -> Made:
    """A bank list with money out and money in, apart."""
    rows: list[Row] = []
    for _, chance, _, day, _ in drawn("statement", "en", 40):
        what = chance.choice(["storage locker", "web shop plan", "groceries", "wages"])
        cents = chance.randint(900, 9000)
        out = what != "wages"
        cells = [f"{day:%d %b %Y}", what, plain(cents if out else None), plain(None if out else cents), plain(5_000_00)]
        kept = what in ("storage locker", "web shop plan")
        rows.append((cells, {"month": f"{day:%Y-%m}", "what": what, "amount": cents} if kept else None))
    columns = {
        "Transaction date": "month",
        "Narrative": "what",
        "Money out": "amount",
        "Money in": "",
        "Running total": "",
    }
    say = {"dates": "day-month-year", "currency": "GBP", "keep": "storage|web shop"}
    return laid("statement", "overheads", columns, rows, say=say)


def polish_stock() -> Made:
    """A Polish stock list in zloty, thousands parted by a space."""
    rows: list[Row] = []
    for at, chance, title, bought, _ in drawn("magazyn", "pl"):
        cost, asked = chance.randint(2000, 300_000), chance.randint(5000, 600_000)
        money = [plain(cents, "{} zł", comma=True, group="\u00a0") for cents in (cost, asked)]
        cells = [f"M{at:03}", title, "dom", f"{bought:%d.%m.%Y}", *money]
        rows.append(
            (cells, {"title": title, "category": "dom", "bought_on": bought, "cost": cost, "list_price": asked})
        )
    columns = {
        "Symbol": "item_id", "Towar": "title", "Grupa": "category", "Dzień zakupu": "bought_on",
        "Zapłacono": "cost", "Cena": "list_price",
    }  # fmt: skip
    say = {"dates": "day-month-year", "decimal": "comma", "currency": "PLN"}
    return laid("magazyn", "items", columns, rows, delimiter=";", say=say)


def tracker_start_end() -> Made:
    """A time tracker with start and end beside the duration."""
    tasks = {"photo session": "photograph", "wrapping": "pack", "listing texts": "write"}
    rows: list[Row] = []
    for _, chance, _, day, _ in drawn("tracker", "en", 30):
        minutes = chance.choice([6, 12, 25, 45, 70, 95])
        task = chance.choice(sorted(tasks))
        end = f"{9 + minutes // 60:02}:{minutes % 60:02}"
        cells = ["Mia", "shop", task, day, "09:00", end, f"{minutes // 60:02}:{minutes % 60:02}:00", "0.00"]
        truth = {"date": day, "activity": tasks[task], "minutes": float(minutes), "worker": "Mia"}
        rows.append((cells, truth))
    columns = {
        "User": "worker", "Client": "", "Task name": "activity", "Start date": "date", "Start time": "", "End time": "",
        "Duration": "minutes", "Billable amount": "",
    }  # fmt: skip
    return laid("tracker", "work", columns, rows, words=tasks, say={"currency": "USD"})


def tracker_german_hours() -> Made:
    """A German list of hours with decimal commas."""
    tasks = {"Fotografieren": "photograph", "Einpacken": "pack", "Putzen": "clean"}
    rows: list[Row] = []
    for _, chance, _, day, _ in drawn("stunden", "de", 30):
        hours = chance.choice(["0,25", "0,5", "1,75", "1,0", "2,25"])
        task = chance.choice(sorted(tasks))
        truth = {"date": day, "activity": tasks[task], "minutes": float(hours.replace(",", ".")) * 60, "worker": "Jan"}
        rows.append(([f"{day:%d.%m.%y}", "Jan", task, hours], truth))
    columns = {"Tag": "date", "Bearbeiter": "worker", "Arbeit": "activity", "Stunden": "minutes"}
    say = {"dates": "day-month-year", "decimal": "comma", "currency": "EUR"}
    return laid("stunden", "work", columns, rows, words=tasks, delimiter=";", say=say)


def tracker_french() -> Made:
    """A French list of times such as 1h30."""
    tasks = {"mise en ligne": "write", "colis": "pack", "prise de vue": "photograph"}
    rows: list[Row] = []
    for _, chance, _, day, _ in drawn("heures", "fr", 30):
        minutes = chance.choice([10, 20, 45, 60, 90, 125])
        said = f"{minutes // 60}h{minutes % 60:02}" if minutes >= 60 else f"{minutes} min"
        task = chance.choice(sorted(tasks))
        truth = {"date": day, "activity": tasks[task], "minutes": float(minutes), "worker": "Léa"}
        rows.append(([f"{day:%d/%m/%Y}", task, said, "Léa"], truth))
    columns = {"Jour": "date", "Travail": "activity", "Temps passé": "minutes", "Prénom": "worker"}
    return laid("heures", "work", columns, rows, words=tasks, say={"dates": "day-month-year", "currency": "EUR"})


def foreign_sign(name: str, form: str, code: str, *, comma: bool, group: str, whole: bool = False) -> Made:
    """An English sheet whose amounts carry the sign of another country."""
    rows: list[Row] = []
    for _, chance, title, bought, sold in drawn(name, "en"):
        cost, price = chance.randint(20, 900) * 100, chance.randint(1000, 9000) * 100
        said = [plain(cents, form, comma=comma, group=group) for cents in (cost, price)]
        if whole:
            said = [text.replace(".00", "").replace(",00", "") for text in said]
        cells = [title, "home", bought, said[0], sold, said[1]]
        truth = {"title": title, "category": "home", "bought_on": bought, "cost": cost, "sold_on": sold}
        rows.append((cells, truth | {"sold_price": price}))
    columns = {
        "Thing": "title", "Sort": "category", "Bought on": "bought_on", "Bought for": "cost", "Sold on": "sold_on",
        "Sold for": "sold_price",
    }  # fmt: skip
    say = {"currency": code, "decimal": "comma" if comma else "point", "dates": "year-month-day"}
    return laid(name, "items", columns, rows, delimiter=";", say=say)


def kept_and_collected() -> Made:
    """A seller's list with what became of each thing, and parcels that buyers fetched."""
    rows: list[Row] = []
    for at, chance, title, bought, sold in drawn("became", "en", 30):
        became = ("sold", "for sale", "sold", "kept", "donated")[at % 5]
        cost, price = chance.randint(200, 5000), chance.randint(4000, 20_000)
        fetched = became == "sold" and at % 3 == 0
        post = chance.randint(500, 2500)
        out = f"{sold:%m/%d/%Y}" if became != "for sale" else ""
        paid = plain(price, "${}") if became == "sold" else ""
        label = "pickup" if fetched else plain(post, "${}") if became == "sold" else ""
        cells = [title, "home", f"{bought:%m/%d/%Y}", plain(cost, "${}"), became, out, paid, label]
        truth: dict[str, object] = {"title": title, "category": "home", "bought_on": bought, "cost": cost}
        if became == "sold":
            truth |= {"sold_on": sold, "sold_price": price, "label_paid": 0 if fetched else post}
            truth |= {"zone": "pickup"} if fetched else {}
        elif became != "for sale":
            truth |= {"gone_on": sold, "gone_how": became}
        rows.append((cells, truth))
    columns = {
        "Piece": "title", "Section": "category", "Got it on": "bought_on", "Cost me": "cost", "Status": "gone_how",
        "Out on": "sold_on", "Got": "sold_price", "Label": "label_paid",
    }  # fmt: skip
    return laid("became", "items", columns, rows, say={"dates": "month-day-year"}, words={"pickup": "collected"})


def lone_postage() -> Made:
    """A list with one column of postage, which is what the labels cost, beside sizes and weights."""
    rows: list[Row] = []
    for _, chance, title, bought, sold in drawn("lone postage", "en"):
        sides = sorted((chance.randint(6, 24) for _ in range(3)), reverse=True)
        pounds, cost, price = chance.randint(1, 30), chance.randint(200, 5000), chance.randint(4000, 20_000)
        post = 600 + 45 * pounds + chance.randint(0, 120)
        truth = {"title": title, "category": "home", "bought_on": bought, "cost": cost, "sold_on": sold}
        truth |= {"sold_price": price, "label_paid": post, "weight_lb": pounds}
        truth |= dict(zip(("length_in", "width_in", "height_in"), map(float, sides), strict=True))
        cells = [title, "home", bought, plain(cost), sold, plain(price), plain(post), *sides, pounds]
        rows.append((cells, truth))
    columns = {
        "Title": "title", "Category": "category", "Purchased": "bought_on", "Cost": "cost", "Sold": "sold_on",
        "Price": "sold_price", "Mailing": "label_paid", "L (in)": "length_in", "W (in)": "width_in",
        "H (in)": "height_in", "Lbs": "weight_lb",
    }  # fmt: skip
    return laid("lone-postage", "items", columns, rows, say={"dates": "year-month-day"})


def dutch_sold_flag() -> Made:
    """A Dutch list with yes and no for sold, title lines above, in a spreadsheet."""
    rows: list[Row] = []
    for at, chance, title, bought, sold in drawn("ja nee", "nl"):
        yes = at % 3 != 0
        cost, price = chance.randint(200, 5000), chance.randint(4000, 20_000)
        cells = [
            at,
            title,
            "huis",
            bought,
            plain(cost),
            "ja" if yes else "nee",
            sold if yes else "",
            plain(price if yes else 0),
        ]
        truth: dict[str, object] = {"title": title, "category": "huis", "bought_on": bought, "cost": cost}
        rows.append((cells, truth | ({"sold_on": sold, "sold_price": price} if yes else {})))
    columns = {
        "Nr": "item_id", "Voorwerp": "title", "Groep": "category", "Aankoop": "bought_on", "Betaald": "cost",
        "Verkocht?": "", "Verkoop": "sold_on", "Opbrengst": "sold_price",
    }  # fmt: skip
    above = [["Mijn vondsten 2026"], [], ["bijgewerkt in juni"]]
    made = laid("ja-nee", "items", columns, rows, spreadsheet=True, above=above)
    made.say |= {"currency": "EUR", "header-row": "4", "dates": "year-month-day"}
    return made


def two_tables_a_sheet() -> Made:
    """A list of finds with a small table of expenses beneath it on the same sheet."""
    rows: list[Row] = []
    for at, chance, title, bought, _ in drawn("two tables", "en"):
        cost, asked = chance.randint(200, 5000), chance.randint(4000, 20_000)
        cells = [f"F{at}", title, "home", f"{bought:%m/%d/%Y}", plain(cost), plain(asked)]
        rows.append(
            (cells, {"title": title, "category": "home", "bought_on": bought, "cost": cost, "list_price": asked})
        )
    columns = {
        "Ref": "item_id", "Find": "title", "Family": "category", "When": "bought_on", "Paid out": "cost",
        "Hoping for": "list_price",
    }  # fmt: skip
    say = {"dates": "month-day-year", "sheet": "Sheet: Ref, Find, Family"}
    made = laid("two-tables", "items", columns, rows, say=say, spreadsheet=True)
    made.rows += [[], [], ["Expenses"], ["Month", "What", "Amount"]]
    made.rows += [["2026-03", "storage", "45.00"], ["2026-04", "storage", "45.00"], ["2026-04", "tape", "12.50"]]
    return made


def all_exports() -> list[Made]:
    """All of them: 21."""
    return [
        order_refund_column(), order_refund_rows(), two_currencies(), sizes_in_one_cell(), sizes_in_one_cell_german(),
        two_row_headers(), partly_sold(), italian_sales(), dutch_bank(), bank_out_and_in(), polish_stock(),
        tracker_start_end(), tracker_german_hours(), tracker_french(),
        foreign_sign("kronor", "{} kr", "SEK", comma=True, group=" "),
        foreign_sign("yen", "¥{}", "JPY", comma=False, group=",", whole=True),
        foreign_sign("reais", "R$ {}", "BRL", comma=True, group="."),
        kept_and_collected(), lone_postage(), dutch_sold_flag(), two_tables_a_sheet(),
    ]  # fmt: skip
