"""What others decide: dated, sourced tables, and the functions that apply them."""
