"""What others decide: dated, sourced tables of fees, parcels, postage and mileage, and the functions that apply them.

A table is looked up at the date of the event. ``tables.load_rules`` reads them all; the other
modules hold one noun each and import nothing heavier than numpy until a frame is asked for.
"""
