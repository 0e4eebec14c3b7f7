"""A seeded generator of exports as people and small programs write them, with the truth beside each.

The headers are the words that people and the trade use; none is the export of one known program.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import random
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path

import openpyxl

LANGUAGES = ("en", "de", "fr", "es", "it", "nl", "pl")

#: Words over the columns of a stock list or a wide sheet, one of each is drawn.
HEADERS = {
    "en": {
        "item_id": ["Stock no.", "SKU", "Tag", "Custom label"],
        "title": ["Item", "What", "Description", "Thing"],
        "category": ["Category", "Type", "Kind"],
        "bought_on": ["Bought", "Purchase date", "Date bought"],
        "cost": ["Cost", "Paid", "Purchase price", "What I paid"],
        "source": ["Where bought", "Source"],
        "listed_on": ["Listed", "Date listed"],
        "list_price": ["Asking price", "List price", "Ask"],
        "sold_on": ["Sold on", "Date sold", "Sale date"],
        "sold_price": ["Sold for", "Sale price", "Selling price"],
        "charged": ["Shipping charged", "Buyer shipping", "Postage charged"],
        "label": ["Shipping cost", "Postage paid", "Label cost"],
        "postage": ["Postage", "Shipping", "P&P", "Freight"],
        "fees_paid": ["Fees", "Commission", "Selling fees"],
        "sides": ["Length", "Width", "Height"],
        "weight": ["Weight", "Package weight"],
        "date": ["Date", "Day"],
        "text": ["Description", "Details", "Payee"],
        "amount": ["Amount", "Debit"],
        "balance": ["Balance"],
        "task": ["Task", "Activity"],
        "duration": ["Duration", "Time", "Time spent"],
        "who": ["Who", "Worker"],
        "note": ["Notes", "Remarks"],
    },
    "de": {
        "item_id": ["Artikelnummer", "Artikel-Nr.", "Lagernummer"],
        "title": ["Bezeichnung", "Artikel", "Artikelname"],
        "category": ["Kategorie", "Warengruppe", "Art"],
        "bought_on": ["Kaufdatum", "Gekauft am", "Ankaufsdatum"],
        "cost": ["Einkaufspreis", "EK", "Ankaufspreis"],
        "source": ["Gekauft bei", "Herkunft"],
        "listed_on": ["Eingestellt am", "Angeboten am"],
        "list_price": ["Angebotspreis", "Wunschpreis"],
        "sold_on": ["Verkauft am", "Verkaufsdatum"],
        "sold_price": ["Verkaufspreis", "VK", "Erlös"],
        "charged": ["Versand vom Käufer", "Versandeinnahmen"],
        "label": ["Versandkosten bezahlt", "Porto bezahlt"],
        "postage": ["Versand", "Porto"],
        "fees_paid": ["Gebühren", "Provision"],
        "sides": ["Länge", "Breite", "Höhe"],
        "weight": ["Gewicht"],
        "date": ["Datum", "Buchungstag"],
        "text": ["Verwendungszweck", "Buchungstext"],
        "amount": ["Betrag", "Umsatz"],
        "balance": ["Saldo", "Kontostand"],
        "task": ["Tätigkeit", "Aufgabe"],
        "duration": ["Dauer", "Zeit"],
        "who": ["Wer", "Mitarbeiter"],
        "note": ["Bemerkung", "Notiz"],
    },
    "fr": {
        "item_id": ["Référence", "N° d'article", "Réf."],
        "title": ["Désignation", "Article", "Objet"],
        "category": ["Catégorie", "Type", "Rayon"],
        "bought_on": ["Date d'achat", "Acheté le"],
        "cost": ["Prix d'achat", "Coût"],
        "source": ["Lieu d'achat", "Fournisseur"],
        "listed_on": ["Mis en vente le", "Date de mise en vente"],
        "list_price": ["Prix demandé", "Prix affiché"],
        "sold_on": ["Vendu le", "Date de vente"],
        "sold_price": ["Prix de vente", "Vendu pour"],
        "charged": ["Port facturé", "Frais de port facturés"],
        "label": ["Port payé", "Coût d'envoi"],
        "postage": ["Frais de port", "Port"],
        "fees_paid": ["Commission", "Frais de vente"],
        "sides": ["Longueur", "Largeur", "Hauteur"],
        "weight": ["Poids"],
        "date": ["Date", "Date d'opération"],
        "text": ["Libellé", "Intitulé"],
        "amount": ["Montant", "Débit"],
        "balance": ["Solde"],
        "task": ["Tâche", "Activité"],
        "duration": ["Durée", "Temps"],
        "who": ["Qui", "Personne"],
        "note": ["Remarque", "Commentaire"],
    },
    "es": {
        "item_id": ["Referencia", "Código", "N.º de artículo"],
        "title": ["Artículo", "Descripción", "Objeto"],
        "category": ["Categoría", "Tipo"],
        "bought_on": ["Fecha de compra", "Comprado el"],
        "cost": ["Precio de compra", "Coste"],
        "source": ["Lugar de compra", "Proveedor"],
        "listed_on": ["Publicado el", "Fecha de publicación"],
        "list_price": ["Precio pedido", "Precio anunciado"],
        "sold_on": ["Vendido el", "Fecha de venta"],
        "sold_price": ["Precio de venta", "Vendido por"],
        "charged": ["Envío cobrado", "Gastos de envío cobrados"],
        "label": ["Envío pagado", "Coste de envío"],
        "postage": ["Envío", "Gastos de envío"],
        "fees_paid": ["Comisión", "Comisiones"],
        "sides": ["Largo", "Ancho", "Alto"],
        "weight": ["Peso"],
        "date": ["Fecha", "Fecha de operación"],
        "text": ["Concepto", "Detalle"],
        "amount": ["Importe", "Cargo"],
        "balance": ["Saldo"],
        "task": ["Tarea", "Actividad"],
        "duration": ["Duración", "Tiempo"],
        "who": ["Quién", "Persona"],
        "note": ["Nota", "Observaciones"],
    },
    "it": {
        "item_id": ["Codice", "Riferimento", "Codice articolo"],
        "title": ["Articolo", "Descrizione", "Oggetto"],
        "category": ["Categoria", "Tipo"],
        "bought_on": ["Data di acquisto", "Acquistato il"],
        "cost": ["Prezzo di acquisto", "Costo"],
        "source": ["Luogo di acquisto", "Fornitore"],
        "listed_on": ["Messo in vendita il", "Data di pubblicazione"],
        "list_price": ["Prezzo richiesto", "Prezzo di listino"],
        "sold_on": ["Venduto il", "Data di vendita"],
        "sold_price": ["Prezzo di vendita", "Venduto a"],
        "charged": ["Spedizione addebitata", "Spedizione incassata"],
        "label": ["Spedizione pagata", "Costo di spedizione"],
        "postage": ["Spedizione", "Spese di spedizione"],
        "fees_paid": ["Commissioni", "Commissione"],
        "sides": ["Lunghezza", "Larghezza", "Altezza"],
        "weight": ["Peso"],
        "date": ["Data", "Data operazione"],
        "text": ["Causale", "Descrizione"],
        "amount": ["Importo", "Addebito"],
        "balance": ["Saldo"],
        "task": ["Attività", "Lavoro"],
        "duration": ["Durata", "Tempo"],
        "who": ["Chi", "Persona"],
        "note": ["Note", "Osservazioni"],
    },
    "nl": {
        "item_id": ["Artikelnummer", "Nummer", "Voorraadnummer"],
        "title": ["Artikel", "Omschrijving", "Naam"],
        "category": ["Categorie", "Soort"],
        "bought_on": ["Aankoopdatum", "Gekocht op"],
        "cost": ["Inkoopprijs", "Aankoopprijs"],
        "source": ["Gekocht bij", "Leverancier"],
        "listed_on": ["Geplaatst op", "Aangeboden op"],
        "list_price": ["Vraagprijs"],
        "sold_on": ["Verkocht op", "Verkoopdatum"],
        "sold_price": ["Verkoopprijs", "Verkocht voor"],
        "charged": ["Verzending ontvangen", "Verzendkosten koper"],
        "label": ["Verzendkosten betaald", "Porto betaald"],
        "postage": ["Verzendkosten", "Verzending"],
        "fees_paid": ["Kosten platform", "Commissie"],
        "sides": ["Lengte", "Breedte", "Hoogte"],
        "weight": ["Gewicht"],
        "date": ["Datum", "Boekdatum"],
        "text": ["Omschrijving", "Mededeling"],
        "amount": ["Bedrag", "Af"],
        "balance": ["Saldo"],
        "task": ["Taak", "Werkzaamheid"],
        "duration": ["Duur", "Tijd"],
        "who": ["Wie", "Medewerker"],
        "note": ["Opmerking", "Notitie"],
    },
    "pl": {
        "item_id": ["Numer", "Kod", "Numer magazynowy"],
        "title": ["Nazwa", "Przedmiot", "Opis"],
        "category": ["Kategoria", "Rodzaj"],
        "bought_on": ["Data zakupu", "Kupiono"],
        "cost": ["Cena zakupu", "Koszt"],
        "source": ["Miejsce zakupu", "Dostawca"],
        "listed_on": ["Wystawiono", "Data wystawienia"],
        "list_price": ["Cena wystawienia", "Cena wywoławcza"],
        "sold_on": ["Data sprzedaży", "Sprzedano"],
        "sold_price": ["Cena sprzedaży", "Sprzedano za"],
        "charged": ["Wysyłka od kupującego", "Opłata za wysyłkę"],
        "label": ["Koszt wysyłki", "Wysyłka zapłacona"],
        "postage": ["Wysyłka", "Przesyłka"],
        "fees_paid": ["Prowizja", "Opłaty"],
        "sides": ["Długość", "Szerokość", "Wysokość"],
        "weight": ["Waga"],
        "date": ["Data", "Data operacji"],
        "text": ["Opis operacji", "Tytuł"],
        "amount": ["Kwota", "Obciążenie"],
        "balance": ["Saldo"],
        "task": ["Czynność", "Zadanie"],
        "duration": ["Czas", "Czas trwania"],
        "who": ["Kto", "Pracownik"],
        "note": ["Uwagi", "Notatka"],
    },
}

GOODS = {
    "en": ["brass lamp", "stoneware crock", "wool blanket", "mantel clock", "picture frame", "tea set"],
    "de": ["Messinglampe", "Steinguttopf", "Wolldecke", "Kaminuhr", "Bilderrahmen", "Teeservice"],
    "fr": ["lampe en laiton", "pot en grès", "couverture", "pendule", "cadre doré", "service à thé"],
    "es": ["lámpara de latón", "jarra de gres", "manta de lana", "reloj de mesa", "marco dorado", "juego de té"],
    "it": ["lampada in ottone", "vaso in gres", "coperta di lana", "orologio", "cornice dorata", "servizio da tè"],
    "nl": ["koperen lamp", "stenen pot", "wollen deken", "schouwklok", "fotolijst", "theeservies"],
    "pl": [
        "lampa mosiężna",
        "garnek kamionkowy",
        "koc wełniany",
        "zegar kominkowy",
        "rama obrazu",
        "serwis do herbaty",
    ],
}
KINDS = {
    "en": ["lamps", "stoneware", "textiles", "clocks", "frames", "china"],
    "de": ["Lampen", "Keramik", "Textilien", "Uhren", "Rahmen", "Porzellan"],
    "fr": ["luminaires", "grès", "textiles", "horloges", "cadres", "porcelaine"],
    "es": ["lámparas", "cerámica", "textiles", "relojes", "marcos", "porcelana"],
    "it": ["lampade", "ceramica", "tessili", "orologi", "cornici", "porcellana"],
    "nl": ["lampen", "aardewerk", "textiel", "klokken", "lijsten", "porselein"],
    "pl": ["lampy", "ceramika", "tekstylia", "zegary", "ramy", "porcelana"],
}
TASKS = {
    "en": {"photograph": "photos", "pack": "packing", "clean": "cleaning", "post": "post office"},
    "de": {"photograph": "Fotos", "pack": "Verpacken", "clean": "Reinigen", "post": "Post"},
    "fr": {"photograph": "photos", "pack": "emballage", "clean": "nettoyage", "post": "poste"},
    "es": {"photograph": "fotos", "pack": "embalaje", "clean": "limpieza", "post": "correo"},
    "it": {"photograph": "foto", "pack": "imballaggio", "clean": "pulizia", "post": "posta"},
    "nl": {"photograph": "foto's", "pack": "inpakken", "clean": "schoonmaken", "post": "post"},
    "pl": {"photograph": "zdjęcia", "pack": "pakowanie", "clean": "czyszczenie", "post": "poczta"},
}
CURRENCY = {"en": "USD", "pl": "PLN"}


@dataclass
class Made:
    """One export, what the books should hold of it, and what its owner answers when asked."""

    name: str
    family: str
    table: str
    headers: list[str]
    rows: list[list[str]] = field(default_factory=list)
    truth: list[dict[str, object]] = field(default_factory=list)
    above: list[list[str]] = field(default_factory=list)
    means: dict[str, str] = field(default_factory=dict)
    say: dict[str, str] = field(default_factory=dict)
    fixed: dict[str, str] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)
    words: dict[str, str] = field(default_factory=dict)
    delimiter: str = ","
    spreadsheet: bool = False

    def add(self, cells: dict[str, str], truth: dict[str, object] | None) -> None:
        """One row of the export, and the row of the books that it is, where it is one."""
        self.rows.append([cells.get(header, "") for header in self.headers])
        if truth is not None:
            at = len(self.above) + 1 + len(self.rows)
            self.truth.append({"row": at, **truth})

    def write(self, folder: Path) -> Path:
        """The file."""
        lines = [*self.above, self.headers, *self.rows]
        path = folder / f"{self.name}.{'xlsx' if self.spreadsheet else 'csv'}"
        if self.spreadsheet:
            book = openpyxl.Workbook()
            for line in lines:
                book.active.append([_cell(text) for text in line])
            book.save(path)
        else:
            out = io.StringIO(newline="")
            csv.writer(out, delimiter=self.delimiter).writerows(lines)
            path.write_text(out.getvalue(), encoding="utf-8")
        return path

    def answer(self, question) -> str | None:
        """What the owner says to a question; None where the question gives no way to say it."""
        key, _, what = question.key.partition(" ")
        by_column = {column: header for header, column in self.means.items()}
        if key == "column":
            for choice in question.choices:
                if self.means.get(choice.value) == what:
                    return choice.value
            if what in by_column:
                return by_column[what]
            return f"={self.fixed[what]}" if what in self.fixed else None
        if key == "means":
            return self.means.get(what) or "ignore"
        if key == "words":
            given = {text: self.words[text] for text in self.words if text in question.text}
            return "|".join(f"{text}={value}" for text, value in given.items())
        if key == "keep":
            return self.say.get("keep")
        if question.key in self.say:
            return self.say[question.key]
        if key == "skip":
            return self.say.get("skip", question.choices[0].value)
        if key in self.units:
            return self.units[key]
        if key in ("blank", "unit") and what in self.fixed | self.units:
            return (self.fixed | self.units)[what]
        return None


def _cell(text: str) -> object:
    """Plain numbers and ISO days are typed in a spreadsheet; whatever else is text."""
    try:
        return dt.datetime.strptime(text, "%Y-%m-%d")
    except ValueError:
        pass
    try:
        return float(text) if text and not text.startswith("0") else text or None
    except ValueError:
        return text


class Pen:
    """How one person writes days and amounts."""

    def __init__(self, chance: random.Random, language: str, *, spreadsheet: bool) -> None:
        self.chance = chance
        self.language = language
        self.spreadsheet = spreadsheet
        us = language == "en" and chance.random() < 0.6
        self.order = "month-day-year" if us else "day-month-year"
        forms = ["%m/%d/%Y", "%m/%d/%y", "%Y-%m-%d", "%b %d, %Y"] if us else ["%d.%m.%Y", "%d/%m/%Y", "%Y-%m-%d"]
        self.form = "%Y-%m-%d" if spreadsheet else chance.choice(forms)
        self.comma = language != "en" and not spreadsheet
        signs = {"en": ["", "$"], "pl": ["", " zł"]}.get(language, ["", " €", "€"])
        self.sign = "" if spreadsheet else chance.choice(signs)

    def day(self, day: dt.date | None) -> str:
        """A day as this person writes it."""
        return "" if day is None else day.strftime(self.form)

    def money(self, cents: int | None) -> str:
        """An amount as this person writes it."""
        if cents is None:
            return ""
        plain = f"{Decimal(abs(cents)) / 100:,.2f}" if not self.spreadsheet else f"{Decimal(abs(cents)) / 100:.2f}"
        if self.comma:
            plain = plain.translate(str.maketrans(",.", ".,"))
        plain = f"{plain}{self.sign}" if self.sign[:1] == " " else f"{self.sign}{plain}"
        return f"-{plain}" if cents < 0 else plain

    def number(self, value: float, places: int = 1) -> str:
        """A measure as this person writes it."""
        text = f"{value:.{places}f}"
        return text.replace(".", ",") if self.comma else text


def _thing(chance: random.Random, language: str, number: int) -> dict[str, object]:
    kind = chance.randrange(6)
    bought = dt.date(2026, 1, 3) + dt.timedelta(days=chance.randrange(150))
    cost = chance.randint(2, 90) * 100 + chance.choice([0, 50, 99])
    listed = bought + dt.timedelta(days=chance.randint(1, 12))
    asked = cost * 3 + chance.randint(5, 60) * 100
    return {
        "item_id": f"K-{number:04}",
        "title": f"{GOODS[language][kind]} {number}",
        "category": KINDS[language][kind],
        "bought_on": bought,
        "cost": cost,
        "listed_on": listed,
        "list_price": asked,
        "sold_on": listed + dt.timedelta(days=chance.randint(2, 60)),
        "sold_price": asked - chance.randint(0, 400),
        "charged": chance.randint(6, 30) * 100 + 95,
        "label": chance.randint(5, 28) * 100 + 15,
        "fees_paid": asked // 8,
        "sides": [chance.randint(8, 40), chance.randint(6, 30), chance.randint(4, 24)],
        "weight": round(chance.uniform(0.5, 14), 1),
    }


_BOOK_NAME = {"charged": "shipping_charged", "label": "label_paid"}
_MONEY = ("cost", "list_price", "sold_price", "charged", "label", "fees_paid")
_DAYS = ("bought_on", "listed_on", "sold_on")


def _headers(chance: random.Random, language: str, names: list[str]) -> dict[str, str]:
    return {name: chance.choice(HEADERS[language][name]) for name in names}


def _started(name: str, family: str, table: str, chance: random.Random, language: str) -> tuple[Made, Pen]:
    spreadsheet = chance.random() < 0.4
    pen = Pen(chance, language, spreadsheet=spreadsheet)
    made = Made(name, family, table, [], spreadsheet=spreadsheet, delimiter=";" if pen.comma else ",")
    made.say = {"table": table, "dates": pen.order, "decimal": "comma" if pen.comma else "point"}
    made.say |= {"totals": "leave-out", "duplicates": "once", "header-row": "", "unmatched": "new"}
    made.say["currency"] = CURRENCY.get(language, "EUR")
    return made, pen


def wide(seed: int, language: str = "en", *, rows: int = 121, messy: bool = True) -> Made:
    """One wide sheet of a seller, kept by hand for years."""
    chance = random.Random(f"wide {seed} {language}")  # noqa: S311 - a draw of exports, not a secret
    made, pen = _started(f"wide-{language}-{seed}", "messy sheet" if messy else "wide sheet", "items", chance, language)
    names = ["item_id", "title", "category", "bought_on", "cost", "source", "listed_on", "list_price", "sold_on"]
    names += ["sold_price", "fees_paid", "note"]
    lone = chance.random() < 0.5
    names[10:10] = ["postage"] if lone else ["charged", "label"]
    if chance.random() < 0.3:
        names.remove("item_id")
    head = _headers(chance, language, names)
    postage = chance.choice(["charged", "label"]) if lone else ""
    made.headers = [head[name] for name in names]
    made.means = {header: _BOOK_NAME.get(name, name) for name, header in head.items()}
    if lone:
        made.means[head["postage"]] = _BOOK_NAME[postage]
    flag = "Sold?" if messy and language == "en" and chance.random() < 0.5 else ""
    if flag:
        made.headers.insert(names.index("sold_on"), flag)
    if messy and language == "en":
        made.headers.append("Profit")
        made.above = [["My finds"], ["as of 30 June"]][: chance.randrange(3)]
    made.fixed = {"category": "unsorted"}
    made.words = {"free": "0", "kept": "", "pickup": "0", "10?": "10", "?": ""}
    for number in range(1, rows + 1):
        thing = _thing(chance, language, number)
        sold = chance.random() < 0.6
        if not sold:
            thing |= dict.fromkeys(("sold_on", "sold_price", "charged", "label", "fees_paid"))
        if lone:
            thing["charged" if postage == "label" else "label"] = None
        cells = {head[n]: pen.money(thing[n]) for n in _MONEY if n in head}
        cells |= {head[n]: pen.day(thing[n]) for n in _DAYS if n in head}
        cells |= {head[n]: str(thing[n]) for n in ("item_id", "title", "category") if n in head}
        if lone:
            cells[head["postage"]] = pen.money(thing[postage])
        cells[head["source"]] = chance.choice(["estate sale", "flea market", "attic"])
        if flag:
            cells[flag] = "Yes" if sold else "No"
        if messy:
            luck = chance.random()
            if luck < 0.06:
                cells[head["category"]], thing["category"] = "", "unsorted"
            elif luck < 0.09 and language == "en":
                cells[head["cost"]], thing["cost"] = "free", 0
            elif luck < 0.11:
                cells[head["cost"]], thing["cost"] = "", None
            elif luck < 0.13 and language == "en":
                cells[head["cost"]], thing["cost"] = "10?", 1000
            elif luck < 0.18 and not sold:
                cells[head["sold_price"]] = pen.money(0)
            elif luck < 0.21 and sold and not lone and language == "en":
                cells[head["charged"]], thing["charged"] = "pickup", 0
                cells[head["label"]], thing["label"] = "", None
            elif luck < 0.23 and not sold:
                cells[head["listed_on"]], thing["listed_on"] = "?", None
        made.add(cells, _truth(thing))
        if messy and number == rows // 2 and chance.random() < 0.5:
            made.add({made.headers[0]: "second half of the year"}, None)
    if messy:
        sums = {head[n]: sum(t[_BOOK_NAME.get(n, n)] or 0 for t in made.truth) for n in ("cost", "sold_price")}
        made.add({made.headers[0]: "Total", **{header: pen.money(cents) for header, cents in sums.items()}}, None)
    return made


def _truth(thing: dict[str, object], **more: object) -> dict[str, object]:
    kept = {_BOOK_NAME.get(n, n): v for n, v in thing.items() if n not in ("sides", "weight", "item_id")}
    return {**kept, **more}


def stock(seed: int, language: str = "en") -> Made:
    """A list of stock with sizes and weights, in units that the headers name or do not."""
    chance = random.Random(f"stock {seed} {language}")  # noqa: S311 - a draw of exports, not a secret
    made, pen = _started(f"stock-{language}-{seed}", "stock list", "items", chance, language)
    names = ["item_id", "title", "category", "bought_on", "cost", "list_price"]
    head = _headers(chance, language, names)
    metric = language != "en" or chance.random() < 0.3
    side, mass = ("cm", "kg") if metric else ("in", "lb")
    said = chance.random() < 0.5
    bare = chance.random() < 0.3 and language == "en"
    sides = ["Depth", "Width", "Height"] if bare else HEADERS[language]["sides"]
    weight = HEADERS[language]["weight"][0]
    tail = (f" ({side})", f" ({mass})") if said else ("", "")
    measures = [f"{word}{tail[0]}" for word in sides] + [f"{weight}{tail[1]}"]
    made.headers = [head[name] for name in names] + measures
    made.means = {header: name for name, header in head.items()}
    made.means |= dict(zip(measures, ("length_in", "width_in", "height_in", "weight_lb"), strict=True))
    made.units = {"length-unit": side, "weight-unit": mass}
    made.fixed = {"category": "unsorted"}
    inch, pound = (2.54, 0.45359237) if metric else (1.0, 1.0)
    for number in range(1, 41):
        thing = _thing(chance, language, number)
        thing |= dict.fromkeys(("sold_on", "sold_price", "charged", "label", "fees_paid", "listed_on"))
        cells = {head[n]: pen.money(thing[n]) for n in ("cost", "list_price")}
        cells[head["bought_on"]] = pen.day(thing["bought_on"])
        cells |= {head[n]: str(thing[n]) for n in ("item_id", "title", "category")}
        cells |= {header: str(value) for header, value in zip(measures, thing["sides"], strict=False)}
        cells[measures[3]] = pen.number(thing["weight"])
        long, broad, high = (value / inch for value in thing["sides"])
        measured = {"length_in": long, "width_in": broad, "height_in": high, "weight_lb": thing["weight"] / pound}
        made.add(cells, _truth(thing, **measured))
    return made


def orders(seed: int, language: str = "en") -> Made:
    """A month of orders: several lines an order, money given back, a currency column."""
    chance = random.Random(f"orders {seed} {language}")  # noqa: S311 - a draw of exports, not a secret
    made, pen = _started(f"orders-{language}-{seed}", "order list", "items", chance, language)
    words = {
        "en": ["Order number", "Order date", "Item", "Item price", "Shipping charged", "Currency"],
        "de": ["Bestellnummer", "Bestelldatum", "Artikel", "Verkaufspreis", "Versand vom Käufer", "Währung"],
        "fr": ["N° de commande", "Date de commande", "Article", "Prix de vente", "Port facturé", "Devise"],
        "es": ["N.º de pedido", "Fecha del pedido", "Artículo", "Precio de venta", "Envío cobrado", "Moneda"],
        "it": ["Numero ordine", "Data ordine", "Articolo", "Prezzo di vendita", "Spedizione addebitata", "Valuta"],
        "nl": ["Bestelnummer", "Besteldatum", "Artikel", "Verkoopprijs", "Verzendkosten koper", "Valuta"],
        "pl": ["Numer zamówienia", "Data zamówienia", "Przedmiot", "Cena sprzedaży", "Opłata za wysyłkę", "Waluta"],
    }[language]
    order, day, title, price, charged, currency = words
    two = chance.random() < 0.4
    own = CURRENCY.get(language, "EUR")
    made.headers = words if two or chance.random() < 0.5 else words[:-1]
    columns = ("order_id", "sold_on", "title", "sold_price", "shipping_charged")
    made.means = dict(zip(words, columns, strict=False))
    made.fixed = {"category": "unsorted", "bought_on": "2026-01-01", "cost": ""}
    made.say |= {"shipping-is": "order", "cost-is": "row", "price-is": "row"}
    number = 0
    for at in range(1, 31):
        lines = chance.choice([1, 1, 1, 2])
        foreign = two and at % 9 == 4
        shipping = chance.randint(5, 20) * 100
        given: list[tuple[dict[str, str], dict[str, object]]] = []
        for _ in range(lines):
            number += 1
            thing = _thing(chance, language, number)
            cells = {order: f"{8000 + at}", day: pen.day(thing["sold_on"]), title: str(thing["title"])}
            if given:
                cells[day] = given[0][0][day]
                thing["sold_on"] = given[0][1]["sold_on"]
            cells |= {price: pen.money(thing["sold_price"]), charged: pen.money(shipping)}
            cells[currency] = ("GBP" if own != "GBP" else "EUR") if foreign else own
            given.append((cells, thing))
        shares = _shared(shipping, [int(thing["sold_price"]) for _, thing in given])
        for (cells, thing), share in zip(given, shares, strict=True):
            truth = {
                "title": thing["title"], "category": "unsorted", "bought_on": dt.date(2026, 1, 1), "cost": None,
                "sold_on": thing["sold_on"], "sold_price": thing["sold_price"], "shipping_charged": share,
            }  # fmt: skip
            made.add(cells, None if foreign else truth)
        if lines == 1 and at % 7 == 3 and not foreign:
            back = int(given[0][1]["sold_price"]) // 2
            made.add({**given[0][0], price: pen.money(-back), charged: ""}, None)
            made.truth[-1]["refund"] = back
    return made


def _shared(cents: int, weights: list[int]) -> list[int]:
    whole = sum(weights)
    parts = [cents * w // whole for w in weights]
    rest = [cents * w % whole for w in weights]
    for at in sorted(range(len(weights)), key=lambda at: -rest[at])[: cents - sum(parts)]:
        parts[at] += 1
    return parts


def bank(seed: int, language: str = "en") -> Made:
    """A list from a bank, of which some lines are costs of the shop."""
    chance = random.Random(f"bank {seed} {language}")  # noqa: S311 - a draw of exports, not a secret
    made, pen = _started(f"bank-{language}-{seed}", "bank list", "overheads", chance, language)
    names = ["date", "text", "amount", "balance"]
    head = _headers(chance, language, names)
    made.headers = [head[name] for name in names]
    made.means = {head["date"]: "month", head["text"]: "what", head["amount"]: "amount"}
    made.say["keep"] = "storage|website"
    balance = 250_000
    day = dt.date(2026, 1, 2)
    for _ in range(50):
        day += dt.timedelta(days=chance.randint(0, 6))
        what = chance.choice(["storage unit", "website hosting", "groceries", "salary", "fuel"])
        cents = chance.randint(500, 9000) if what != "salary" else -chance.randint(90_000, 150_000)
        balance -= cents
        cells = dict(zip(made.headers, (pen.day(day), what, pen.money(-cents), pen.money(balance)), strict=True))
        wanted = {"month": day.strftime("%Y-%m"), "what": what, "amount": cents}
        made.add(cells, wanted if what in ("storage unit", "website hosting") else None)
    return made


def tracker(seed: int, language: str = "en") -> Made:
    """A time tracker's list, with durations in one of the usual forms."""
    chance = random.Random(f"time {seed} {language}")  # noqa: S311 - a draw of exports, not a secret
    made, pen = _started(f"time-{language}-{seed}", "time tracker", "work", chance, language)
    names = ["date", "task", "duration", "who"]
    head = _headers(chance, language, names)
    forms = ["h:mm", "h:mm:ss", "seconds", "decimal hours", "words", "bare minutes"]
    form = forms[seed % len(forms)]
    if form == "seconds":
        head["duration"] += " (s)"
    elif form == "decimal hours":
        head["duration"] += " (h)"
    made.headers = [head[name] for name in names]
    made.means = {head["date"]: "date", head["task"]: "activity", head["duration"]: "minutes", head["who"]: "worker"}
    made.units = {"time-unit": "min"}
    made.words = {word: activity for activity, word in TASKS[language].items()}
    for number in range(40):
        minutes = chance.choice([3, 6, 9, 12, 15, 30, 45, 60, 75, 90, 135])
        shown = {
            "h:mm": f"{minutes // 60}:{minutes % 60:02}",
            "h:mm:ss": f"{minutes // 60}:{minutes % 60:02}:00",
            "seconds": str(minutes * 60),
            "decimal hours": pen.number(minutes / 60, 2),
            "words": f"{minutes // 60} h {minutes % 60} min" if minutes >= 60 else f"{minutes} min",
            "bare minutes": str(minutes),
        }[form]
        activity = chance.choice(sorted(TASKS[language]))
        day = dt.date(2026, 3, 1) + dt.timedelta(days=number * 2)
        cells = dict(zip(made.headers, (pen.day(day), TASKS[language][activity], shown, "Ann"), strict=True))
        made.add(cells, {"date": day, "activity": activity, "minutes": float(minutes), "worker": "Ann"})
    return made


def unknown_headers(seed: int) -> Made:
    """A sheet whose headers are abbreviations of its owner's own: whatever matters must be asked."""
    made = wide(100 + seed, LANGUAGES[seed % len(LANGUAGES)], messy=False, rows=40)
    made.name, made.family = f"unknown-{seed}", "own headers"
    strange = {header: f"{chr(97 + at)}q{at}" for at, header in enumerate(made.headers)}
    made.headers = [strange[header] for header in made.headers]
    made.means = {strange[header]: column for header, column in made.means.items() if header in strange}
    return made


def all_exports() -> list[Made]:
    """Every export of the table: 82 in seven families."""
    made = [wide(seed) for seed in range(14)]
    made += [wide(seed, language, messy=False, rows=60) for language in LANGUAGES[1:] for seed in range(2)]
    made += [stock(seed, language) for language in LANGUAGES for seed in range(2)]
    made += [orders(seed, language) for language in ("en", *LANGUAGES) for seed in range(2)][2:]
    made += [orders(seed) for seed in (5, 6)]
    made += [bank(seed, language) for language in LANGUAGES for seed in range(1)]
    made += [unknown_headers(seed) for seed in range(7)]
    made += [tracker(seed, language) for seed, language in enumerate(("en",) * 6 + LANGUAGES[1:])]
    return made
