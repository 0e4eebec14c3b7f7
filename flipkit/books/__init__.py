"""The seller's books: what happened, as tables, read whole or refused with every reason at once."""
