"""The data items of SAE J1979 services 01 and 02: one table of data, read both ways.

`items_table()` has them by number, `decode` turns bytes into values and `encode` values into bytes.
"""

from airproof.vehicle.items.bitmap import bitmap_bytes, items_announced
from airproof.vehicle.items.by_signal import by_signal
from airproof.vehicle.items.decode import Decoded, FullScales, decode, decode_one
from airproof.vehicle.items.encode import encode, encode_one
from airproof.vehicle.items.table import SINCE_CLEARED, Item, Value, items_carrying, items_table

__all__ = [
    "SINCE_CLEARED",
    "Decoded",
    "FullScales",
    "Item",
    "Value",
    "bitmap_bytes",
    "by_signal",
    "decode",
    "decode_one",
    "encode",
    "encode_one",
    "items_announced",
    "items_carrying",
    "items_table",
]
