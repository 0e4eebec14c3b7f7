"""Exports written after the door was done, by somebody who tries to fool it; the truth beside each."""

from __future__ import annotations

import datetime as dt
import random
from collections.abc import Iterator

from tests.helpers.held_out_exports import BLANK, UNSORTED, Row, laid, plain
from tests.helpers.people_exports import Made

NOUNS = ("mantel clock", "oil lamp", "wool rug", "tea set", "slide rule", "milk can", "hand plane", "accordion")
DMY = {"dates": "day-month-year", "decimal": "comma"}


def things(name: str, count: int = 24) -> Iterator[tuple[int, random.Random, str, dt.date, dt.date, int, int]]:
    """Number, chance, title, days of purchase and sale, cost and price of each thing."""
    chance = random.Random(f"later {name}")  # noqa: S311 - a draw of exports, not a secret
    for at in range(1, count + 1):
        bought = dt.date(2026, 1, 4) + dt.timedelta(days=chance.randrange(110))
        sold = bought + dt.timedelta(days=chance.randint(3, 80))
        title = f"{chance.choice(NOUNS)} {at}"
        yield at, chance, title, bought, sold, chance.randint(2, 60) * 50, chance.randint(40, 400) * 50


def yearly_sheet() -> Made:
    """A year on one sheet: days without a year, words for amounts, a month's name alone above its rows, subtotals."""
    rows: list[Row] = []
    month, total = 0, 0
    for at, chance, title, bought, sold, cost, price in sorted(things("yearly", 40), key=lambda one: one[3]):
        if bought.month != month:
            if month:
                rows.append((["", "Total", "", "", plain(total, "${}"), *[""] * 7], None))
            month, total = bought.month, 0
            rows.append(([f"{bought:%B}", *[""] * 11], None))
        free, unsold = at % 9 == 0, at % 4 == 0
        total += 0 if free else cost
        post, fee = chance.randint(700, 2500), price // 10
        cells = [
            at, title, "decor", f"{bought:%b} {bought.day}", "free" if free else plain(cost, "${}"),
            plain(price + 1500),
            "" if unsold else f"{sold:%b} {sold.day}", "unsold" if unsold else plain(price, "${}"),
            "" if unsold else plain(post), "" if unsold else plain(fee),
            "" if unsold else plain(price - fee - post - cost), "needs a wash" if at % 5 == 0 else "",
        ]  # fmt: skip
        truth = {"title": title, "category": "decor", "bought_on": bought, "cost": 0 if free else cost}
        truth["list_price"] = price + 1500
        if not unsold:
            truth |= {"sold_on": sold, "sold_price": price, "label_paid": post, "fees_paid": fee}
        rows.append((cells, truth))
    columns = {
        "#": "", "Stuff": "title", "Kind": "category", "Got it": "bought_on", "Paid": "cost", "Ask": "list_price",
        "Sold": "sold_on", "For": "sold_price", "Stamps": "label_paid", "Site took": "fees_paid", "Profit": "",
        "Remarks": "",
    }  # fmt: skip
    made = laid("yearly", "items", columns, rows, above=[["Flips 2026"], []], say={"year": "2026"})
    made.words = {"free": "0", "unsold": ""}
    return made


def order_export() -> Made:
    """An order export: times with a zone, one order of several lines, tax, cancelled orders, buyers."""
    rows: list[Row] = []
    for at, chance, title, _, sold, _, price in things("orders", 30):
        gone, count = at % 10 == 3, 3 if at % 7 == 0 else 1
        ship = chance.randint(150, 600) * 3
        cells = [
            f"30-{1000 + at // 2 * 2}", f"{sold}T1{at % 10}:05:00Z", f"buyer{at}", title, f"L{at:03}", count,
            plain(price),
            plain(price * count), plain(ship), plain(price // 12), plain(price * count + ship),
            "Canceled" if gone else "Paid",
        ]  # fmt: skip
        truth = {**BLANK, "title": title, "sold_on": sold, "sold_price": price, "shipping_charged": ship // count}
        rows.append((cells, None if gone else [truth] * count))
    columns = {
        "Order ID": "order_id", "Created At": "sold_on", "Buyer": "", "Product Name": "title",
        "Product Code": "item_id",
        "Quantity": "quantity", "Unit Price": "sold_price", "Line Total": "", "Shipping Amount": "shipping_charged",
        "Tax Amount": "", "Order Total": "", "Order Status": "",
    }  # fmt: skip
    return laid("orders", "items", columns, rows, fixed=UNSORTED, say={"price-is": "each", "skip": "Canceled"})


def payments_report() -> Made:
    """Everything that moved money in one list: orders, money back, labels, fees and payouts by a word in a column."""
    rows: list[Row] = []
    for at, chance, title, _, sold, _, price in things("payments", 26):
        label, fee = chance.randint(500, 1900), price // 8
        day = f"{sold:%b %d, %Y}"
        truth = {**BLANK, "title": title, "sold_on": sold, "sold_price": price}
        rows.append(([day, "Order", f"P{at}", title, plain(price), plain(-fee), plain(price - fee)], truth))
        rows.append(([day, "Shipping label", f"P{at}", "", plain(-label), "", plain(-label)], None))
        truth["fees_paid"] = fee
        if at % 8 == 2:
            truth["refund"] = price
            rows.append(([day, "Refund", f"P{at}", title, plain(-price), "", plain(-price)], None))
        if at % 6 == 0:
            rows.append(([day, "Payout", "", "To your bank", plain(-10_000), "", plain(-10_000)], None))
    columns = {
        "Date": "sold_on", "Type": "", "Order": "order_id", "Title": "title", "Gross": "sold_price",
        "Fee": "fees_paid",
        "Net": "",
    }  # fmt: skip
    say = {"keep": "order|refund", "skip": "Shipping label|Payout"}
    return laid("payments", "items", columns, rows, fixed=UNSORTED, say=say)


def bank_money_out() -> Made:
    """A bank list of two columns, out and in, a balance, and a heading of the account."""
    rows: list[Row] = []
    chance = random.Random("later bank")  # noqa: S311
    balance = 100_000
    for at in range(36):
        day = dt.date(2026, 2, 1) + dt.timedelta(days=2 * at)
        what = ("STORAGE UNIT 14", "CARD GROCERY", "TRANSFER IN", "PHONE PLAN", "CASH MACHINE")[at % 5]
        cents = chance.randint(900, 9000)
        balance += cents if at % 5 == 2 else -cents
        own = at % 5 in (0, 3)
        money = ["", plain(cents)] if at % 5 == 2 else [plain(cents), ""]
        truth = {"month": f"{day:%Y-%m}", "what": what, "amount": cents} if own else None
        rows.append(([f"{day:%d %b %Y}", "POS", what, *money, plain(balance, group=",")], truth))
    columns = {"Date": "month", "Type": "", "Narrative": "what", "Paid out": "amount", "Paid in": "", "Balance": ""}
    above = [["Account 12345678"], ["Statement from 1 Feb 2026"]]
    return laid("bank", "overheads", columns, rows, above=above, say={"keep": "storage|phone", "currency": "GBP"})


def german() -> Made:
    """A German sheet with headers of everyday speech, centimeters and kilograms in the headers."""
    rows: list[Row] = []
    for at, chance, title, bought, sold, cost, price in things("german"):
        sides, kilos = [chance.randint(8, 90) for _ in range(3)], chance.randint(2, 90) / 10
        gone = at % 3 != 0
        cells = [
            at, title, "Hausrat", f"{bought:%d.%m.%y}", plain(cost, "{} €", comma=True), *sides,
            f"{kilos}".replace(".", ","),
            f"{sold:%d.%m.%y}" if gone else "", plain(price, "{} €", comma=True, group=".") if gone else "",
            plain(599 if gone else None, comma=True),
        ]  # fmt: skip
        truth = {
            "title": title,
            "category": "Hausrat",
            "bought_on": bought,
            "cost": cost,
            "weight_lb": kilos / 0.45359237,
        }
        truth |= dict(zip(("length_in", "width_in", "height_in"), (side / 2.54 for side in sides), strict=True))
        rows.append((cells, truth | ({"sold_on": sold, "sold_price": price, "label_paid": 599} if gone else {})))
    columns = {
        "lfd. Nr.": "", "Was": "title", "Sparte": "category", "Wann gekauft": "bought_on", "Gezahlt": "cost",
        "L in cm": "length_in", "B in cm": "width_in", "H in cm": "height_in", "Kilo": "weight_lb",
        "Weg am": "sold_on",
        "Erzielt": "sold_price", "Paketschein": "label_paid",
    }  # fmt: skip
    return laid(
        "deutsch", "items", columns, rows, delimiter=";", say=DMY | {"currency": "EUR"}, units={"weight-unit": "kg"}
    )


def french() -> Made:
    """A French sheet with everyday headers and postage on both sides."""
    rows: list[Row] = []
    for _, chance, title, bought, sold, cost, price in things("french"):
        charged, paid = chance.randint(400, 1500), chance.randint(400, 1500)
        money = [plain(cents, "{} €", comma=True, group="\u202f") for cents in (cost, price, charged, paid)]
        cells = [title, "déco", f"{bought:%d/%m/%Y}", money[0], f"{sold:%d/%m/%Y}", *money[1:]]
        truth = {"title": title, "category": "déco", "bought_on": bought, "cost": cost, "sold_on": sold}
        rows.append((cells, truth | {"sold_price": price, "shipping_charged": charged, "label_paid": paid}))
    columns = {
        "Trouvaille": "title", "Famille": "category", "Trouvé le": "bought_on", "Payé": "cost", "Parti le": "sold_on",
        "Encaissé": "sold_price", "Port reçu": "shipping_charged", "Timbre": "label_paid",
    }  # fmt: skip
    return laid("francais", "items", columns, rows, delimiter=";", say=DMY | {"currency": "EUR"})


def spanish_refunds() -> Made:
    """Spanish orders; money back in rows with a minus behind the amount."""
    rows: list[Row] = []
    for at, _, title, _, sold, _, price in things("spanish"):
        truth = {**BLANK, "title": title, "sold_on": sold, "sold_price": price, "fees_paid": price // 10}
        euro = plain(price, "{} €", comma=True, group=".")
        rows.append(([f"PED{at}", f"{sold:%d/%m/%Y}", title, euro, plain(price // 10, comma=True)], truth))
        if at % 7 == 3:
            truth["refund"] = price
            rows.append(
                ([f"PED{at}", f"{sold:%d/%m/%Y}", title, plain(price, "{}- €", comma=True, group="."), ""], None)
            )
    columns = {
        "Pedido": "order_id", "Día": "sold_on", "Producto": "title", "Cobrado": "sold_price",
        "Tarifa de la plataforma": "fees_paid",
    }  # fmt: skip
    return laid("espanol", "items", columns, rows, fixed=UNSORTED, delimiter=";", say=DMY | {"currency": "EUR"})


def polish() -> Made:
    """A Polish list with spaces in thousands and a word for what is still there."""
    rows: list[Row] = []
    for at, _, title, bought, sold, cost, price in things("polish"):
        there, price = at % 4 == 1, price * 5
        cells = [
            at, title, "dom", f"{bought:%d.%m.%Y}", plain(cost, "{} zł", comma=True, group=" "),
            "jeszcze jest" if there else f"{sold:%d.%m.%Y}",
            "" if there else plain(price, "{} zł", comma=True, group=" "), "" if there else plain(1499,
            "{} zł", comma=True),
        ]  # fmt: skip
        truth = {"title": title, "category": "dom", "bought_on": bought, "cost": cost}
        sale = {"sold_on": sold, "sold_price": price, "label_paid": 1499}
        rows.append((cells, truth if there else truth | sale))
    columns = {
        "Lp.": "", "Co": "title", "Grupa": "category", "Kiedy kupione": "bought_on", "Za ile": "cost",
        "Kiedy sprzedane": "sold_on", "Poszło za": "sold_price", "Paczka": "label_paid",
    }  # fmt: skip
    made = laid("polski", "items", columns, rows, delimiter=";", say=DMY | {"currency": "PLN"})
    made.words = {"jeszcze jest": ""}
    return made


def italian_flags() -> Made:
    """An Italian sheet: sì and no, a price of zero where nothing sold."""
    rows: list[Row] = []
    for at, _, title, bought, sold, cost, price in things("italian"):
        yes = at % 3 > 0
        cells = [
            title, "casa", f"{bought:%d/%m/%Y}", plain(cost, "€ {}", comma=True), "sì" if yes else "no",
            f"{sold:%d/%m/%Y}" if yes else "", plain(price if yes else 0, "€ {}", comma=True, group="."),
        ]  # fmt: skip
        truth = {"title": title, "category": "casa", "bought_on": bought, "cost": cost}
        rows.append((cells, truth | ({"sold_on": sold, "sold_price": price} if yes else {})))
    columns = {
        "Pezzo": "title", "Famiglia": "category", "Preso il": "bought_on", "Speso": "cost", "Venduto?": "",
        "Quando": "sold_on", "Incasso": "sold_price",
    }  # fmt: skip
    return laid("italiano", "items", columns, rows, delimiter=";", say=DMY | {"currency": "EUR"})


def dutch() -> Made:
    """A Dutch sheet with everyday headers in a workbook."""
    rows: list[Row] = []
    for at, _, title, bought, sold, cost, price in things("dutch"):
        gone = at % 5 > 0
        cells = [
            at,
            title,
            "spul",
            bought,
            plain(cost),
            plain(price + 500),
            sold if gone else "",
            plain(price) if gone else "",
        ]
        truth = {"title": title, "category": "spul", "bought_on": bought, "cost": cost, "list_price": price + 500}
        rows.append((cells, truth | ({"sold_on": sold, "sold_price": price} if gone else {})))
    columns = {
        "Volgnr": "", "Ding": "title", "Hoort bij": "category", "Opgehaald": "bought_on", "Gaf ik": "cost",
        "Vraag": "list_price", "Weg": "sold_on", "Kreeg ik": "sold_price",
    }  # fmt: skip
    return laid("nederlands", "items", columns, rows, spreadsheet=True, say={"currency": "EUR"})


def each_and_left() -> Made:
    """Several like things a row: how many, how many went, and prices for one."""
    rows: list[Row] = []
    for at, _, title, bought, sold, cost, price in things("each"):
        count = (1, 4, 6)[at % 3]
        went = count if at % 2 else 0
        cells = [title, "lots", f"{bought:%m/%d/%Y}", count, plain(cost, "${}"), f"{sold:%m/%d/%Y}" if went else "",
                 plain(price, "${}") if went else ""]  # fmt: skip
        truth = {"title": title, "category": "lots", "bought_on": bought, "cost": cost}
        rows.append((cells, [truth | ({"sold_on": sold, "sold_price": price} if went else {})] * count))
    columns = {
        "Item": "title", "Category": "category", "Date": "bought_on", "How many": "quantity", "Cost": "cost",
        "Sold on": "sold_on", "Sold at": "sold_price",
    }  # fmt: skip
    say = {"dates": "month-day-year", "cost-is": "each", "price-is": "each"}
    return laid("each", "items", columns, rows, say=say)


def sizes_mixed() -> Made:
    """Measures written as they came: some with their unit, some in grams, one side missing."""
    rows: list[Row] = []
    for at, chance, title, bought, _, cost, _ in things("sizes"):
        sides, grams = [chance.randint(10, 80) for _ in range(3)], chance.randint(2, 60) * 100
        said = f"{grams} g" if at % 2 else f"{grams / 1000:g} kg"
        cells = [title, "home", f"{bought}", plain(cost), *(f"{side} cm" if at % 3 else side for side in sides), said]
        truth = {"title": title, "category": "home", "bought_on": bought, "cost": cost, "weight_lb": grams / 453.59237}
        rows.append(
            (cells, truth | dict(zip(("length_in", "width_in", "height_in"), (s / 2.54 for s in sides), strict=True)))
        )
    columns = {
        "What is it": "title", "Kind": "category", "Bought on": "bought_on", "Paid": "cost", "Long": "length_in",
        "Wide": "width_in", "Tall": "height_in", "Heavy": "weight_lb",
    }  # fmt: skip
    return laid("sizes", "items", columns, rows, units={"length-unit": "cm"})


def signs_mixed() -> Made:
    """Dollars and euro in one column: whatever is not the shop's is refused, and said."""
    rows: list[Row] = []
    for at, _, title, bought, sold, cost, price in things("signs"):
        euro = at % 5 == 0
        cells = [title, "mixed", f"{bought}", plain(cost, "${}"), f"{sold}", plain(price, "€{}" if euro else "${}")]
        truth = {
            "title": title,
            "category": "mixed",
            "bought_on": bought,
            "cost": cost,
            "sold_on": sold,
            "sold_price": price,
        }
        rows.append((cells, truth))
    columns = {
        "Item": "title", "Type": "category", "Bought": "bought_on", "Cost": "cost", "Sold": "sold_on",
        "Sold for": "sold_price",
    }  # fmt: skip
    return laid("signs", "items", columns, rows, say={"currency": "USD"})


def flags() -> Made:
    """TRUE and FALSE in several columns, in a workbook; a listing price without a day."""
    rows: list[Row] = []
    for at, _, title, bought, sold, cost, price in things("flags"):
        listed, gone = at % 6 > 0, at % 3 == 1
        cells = [title, "home", bought, plain(cost), "TRUE" if listed else "FALSE",
                 plain(price + 300) if listed else "",
                 "TRUE" if gone else "FALSE", sold if gone else "", plain(price if gone else 0), "FALSE"]  # fmt: skip
        truth = {"title": title, "category": "home", "bought_on": bought, "cost": cost}
        truth |= {"list_price": price + 300} if listed else {}
        rows.append((cells, truth | ({"sold_on": sold, "sold_price": price} if gone else {})))
    columns = {
        "Name": "title", "Category": "category", "Acquired": "bought_on", "Spent": "cost", "Listed": "",
        "Price": "list_price",
        "Sold": "", "Sale date": "sold_on", "Sale": "sold_price", "Donated": "",
    }  # fmt: skip
    return laid("flags", "items", columns, rows, spreadsheet=True)


def swiss() -> Made:
    """Swiss amounts: apostrophes, strokes for no cents, the currency behind."""
    rows: list[Row] = []
    for at, _, title, bought, sold, cost, price in things("swiss"):
        cost, price = cost // 100 * 100, price * 10
        money = f"{price // 100:,}".replace(",", "’") + (".–" if price % 100 == 0 else f".{price % 100:02}")
        cells = [
            f"S{at}",
            title,
            "Stube",
            f"{bought:%d.%m.%Y}",
            f"CHF {cost // 100}.-",
            f"{sold:%d.%m.%Y}",
            f"Fr. {money}",
        ]
        truth = {"title": title, "category": "Stube", "bought_on": bought, "cost": cost, "sold_on": sold}
        rows.append((cells, truth | {"sold_price": price}))
    columns = {
        "Code": "item_id", "Objekt": "title", "Kategorie": "category", "Einkauf am": "bought_on", "Einkauf": "cost",
        "Verkauf am": "sold_on", "Verkauf": "sold_price",
    }  # fmt: skip
    return laid("schweiz", "items", columns, rows, delimiter=";", say={"currency": "CHF", "dates": "day-month-year"})


def payout_only() -> Made:
    """A consignment list: the price on the tag, a rate, and what was paid out after it."""
    rows: list[Row] = []
    for at, _, title, bought, sold, cost, price in things("payout"):
        cells = [at, title, "rack 2", f"{bought:%m/%d/%y}", plain(cost), plain(price), "35%",
                 plain(price * 65 // 100),
                 f"{sold:%m/%d/%y}"]  # fmt: skip
        truth = {"title": title, "category": "rack 2", "bought_on": bought, "cost": cost, "sold_on": sold}
        rows.append((cells, truth | {"sold_price": price}))
    columns = {
        "Line": "", "Description": "title", "Section": "category", "Buy date": "bought_on", "My cost": "cost",
        "Tag price": "sold_price", "Commission": "", "Payout": "", "Sold": "sold_on",
    }  # fmt: skip
    return laid("payout", "items", columns, rows, say={"dates": "month-day-year"})


def two_tables() -> Made:
    """A workbook with a title, what sold, and below it what is still there under other headers."""
    rows: list[Row] = []
    for at, _, title, bought, sold, cost, price in things("tables"):
        cells = [f"T{at}", title, "shed", bought, plain(cost), sold, plain(price)]
        truth = {"title": title, "category": "shed", "bought_on": bought, "cost": cost, "sold_on": sold}
        rows.append((cells, truth | {"sold_price": price}))
    columns = {
        "Tag": "item_id", "Thing": "title", "Group": "category", "Bought": "bought_on", "Cost": "cost",
        "Sold": "sold_on",
        "Price": "sold_price",
    }  # fmt: skip
    above = [["Barn sale finds"], ["all of 2026"], []]
    made = laid(
        "tables", "items", columns, rows, spreadsheet=True, above=above, say={"sheet": "Sheet: Tag, Thing, Group"}
    )
    made.rows += [[], ["Still in the barn"], ["Tag", "Thing", "Asking", "Since"]]
    made.rows += [[f"U{at}", f"crate {at}", f"{at * 10}.00", "2026-03-01"] for at in range(1, 6)]
    return made


def hours() -> Made:
    """A list of work with a start, an end, and hours as a part of one."""
    rows: list[Row] = []
    chance = random.Random("later hours")  # noqa: S311
    for at in range(30):
        day, minutes = dt.date(2026, 4, 1) + dt.timedelta(days=at), chance.randint(1, 12) * 15
        task, activity = (("Packing", "pack"), ("Cleaning", "clean"), ("Photos", "photograph"))[at % 3]
        start = dt.datetime(2026, 4, 1, 9, 0)
        cells = [f"{day:%a %b %d %Y}", task, f"{start:%I:%M %p}", f"{start + dt.timedelta(minutes=minutes):%I:%M %p}",
                 f"{minutes / 60:.2f}", ("ann", "lou")[at % 2]]  # fmt: skip
        rows.append(
            (cells, {"date": day, "activity": activity, "minutes": float(minutes), "worker": ("ann", "lou")[at % 2]})
        )
    columns = {"Day": "date", "Task": "activity", "In": "", "Out": "", "Hours": "minutes", "Name": "worker"}
    return laid("hours", "work", columns, rows, say={"currency": "USD"})


def discounts() -> Made:
    """Order lines whose total is less than price times quantity: which of the two it sold for is asked."""
    rows: list[Row] = []
    for at, _, title, _, sold, _, price in things("discounts"):
        count, off = 2 if at % 5 == 0 else 1, price // 4 if at % 3 == 0 else 0
        whole = price * count - off
        cells = [f"D{at}", f"{sold} 10:15", title, count, plain(price), plain(off), plain(whole)]
        shares = [whole] if count == 1 else [whole - whole // 2, whole // 2]
        rows.append((cells, [{**BLANK, "title": title, "sold_on": sold, "sold_price": share} for share in shares]))
    columns = {
        "Order": "order_id", "Paid at": "sold_on", "Product": "title", "Qty": "quantity", "Unit price": "",
        "Discount": "", "Line total": "sold_price",
    }  # fmt: skip
    made = laid("discounts", "items", columns, rows)
    made.fixed = UNSORTED
    return made


def saleroom() -> Made:
    """What a saleroom settles: its lots are numbers of the things, and what did not sell has a word for a price."""
    rows: list[Row] = []
    for at, _, title, *_, price in things("saleroom"):
        took, unsold = price * 15 // 100, at % 6 == 0
        cells = [100 + at, title, "05 Apr 2026", "UNSOLD" if unsold else plain(price)]
        cells += ["", "", ""] if unsold else [plain(took), plain(took // 5), plain(price - took - took // 5)]
        sale = {"sold_on": dt.date(2026, 4, 5), "sold_price": price, "fees_paid": took}
        rows.append((cells, {**BLANK, "title": title, **({} if unsold else sale)}))
    columns = {
        "Lot": "item_id", "Description": "title", "Sale date": "sold_on", "Hammer": "sold_price",
        "Commission": "fees_paid", "VAT on commission": "", "Net to vendor": "",
    }  # fmt: skip
    made = laid("saleroom", "items", columns, rows)
    made.fixed, made.words = UNSORTED, {"UNSOLD": ""}
    return made


def all_paid(name: str, header: str) -> Made:
    """Orders with what the buyer paid in all, which is no cost of the seller's."""
    rows: list[Row] = []
    for at, chance, title, _, sold, _, price in things(name):
        ship = chance.randint(5, 15) * 100
        truth = {**BLANK, "title": title, "sold_on": sold, "sold_price": price, "shipping_charged": ship}
        rows.append(([f"B{at}", sold, title, plain(price), plain(ship), plain(price + ship)], truth))
    columns = {
        "Order": "order_id", "Sale date": "sold_on", "Item": "title", "Item price": "sold_price",
        "Postage charged": "shipping_charged", header: "",
    }  # fmt: skip
    made = laid(name, "items", columns, rows)
    made.fixed = UNSORTED
    return made


def all_exports() -> list[Made]:
    """All of them: 22."""
    return [
        yearly_sheet(), order_export(), payments_report(), bank_money_out(), german(), french(),
        spanish_refunds(), polish(),
        italian_flags(), dutch(), each_and_left(), sizes_mixed(), signs_mixed(), flags(), swiss(), payout_only(),
        two_tables(), hours(), discounts(), saleroom(), all_paid("all paid", "Total paid"),
        all_paid("buyer paid", "Total paid by buyer"),
    ]  # fmt: skip
