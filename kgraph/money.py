"""Sums of money as they are written: `4.50 EUR`, and summed by currency.

Codes: ISO 4217, the alphabetic codes in force as pycountry 26 lists them (its `iso4217.json`, from the
project iso-codes), those for tests and for no currency left out.
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal, InvalidOperation
from typing import NamedTuple

from kgraph.names import did_you_mean

_CODES = """
AED AFN ALL AMD AOA ARS AUD AWG AZN BAM BBD BDT BHD BIF BMD BND BOB BOV BRL BSD BTN BWP BYN BZD CAD CDF CHE
CHF CHW CLF CLP CNY COP COU CRC CUP CVE CZK DJF DKK DOP DZD EGP ERN ETB EUR FJD FKP GBP GEL GHS GIP GMD GNF
GTQ GYD HKD HNL HTG HUF IDR ILS INR IQD IRR ISK JMD JOD JPY KES KGS KHR KMF KPW KRW KWD KYD KZT LAK LBP LKR
LRD LSL LYD MAD MDL MGA MKD MMK MNT MOP MRU MUR MVR MWK MXN MXV MYR MZN NAD NGN NIO NOK NPR NZD OMR PAB PEN
PGK PHP PKR PLN PYG QAR RON RSD RUB RWF SAR SBD SCR SDG SEK SGD SHP SLE SOS SRD SSP STN SVC SYP SZL THB TJS
TMT TND TOP TRY TTD TWD TZS UAH UGX USD USN UYI UYU UYW UZS VED VES VND VUV WST XAD XAF XAG XAU XBA XBB XBC
XBD XCD XCG XDR XOF XPD XPF XPT XSU XUA YER ZAR ZMW ZWG
"""
CODES = frozenset(_CODES.split())
MOST = Decimal(10_000_000)
"""No more than this is believed of one event: a slipped point, more likely."""
_LIKE = "write it like 4.50 EUR"


class MoneyError(ValueError):
    """What is wrong with a sum of money, and what would be right."""

    def __init__(self, what: str, right: str) -> None:
        super().__init__(f"{what}; {right}")
        self.what, self.right = what, right


class Money(NamedTuple):
    """An amount, to the last digit as written, and the code of its currency."""

    amount: Decimal
    currency: str

    def __str__(self) -> str:
        return f"{self.amount} {self.currency}"


def money(text: str) -> Money:
    """An amount and a code of ISO 4217; raises MoneyError."""
    amount, _, code = text.strip().rpartition(" ")
    amount, code = amount.strip(), code.upper()
    if not amount:
        raise MoneyError(f"{text!r} has no currency", _LIKE)
    if code not in CODES:
        raise MoneyError(f"{code!r} is no currency of ISO 4217", did_you_mean(code, CODES) or _LIKE)
    if not amount.isascii() or not set(amount) <= set("0123456789.") or len(amount) > 20:
        raise MoneyError(f"{amount!r} is no amount", f"digits and a point; {_LIKE}")
    try:
        value = Decimal(amount)
    except InvalidOperation:
        raise MoneyError(f"{amount!r} is no amount", _LIKE) from None
    if value > MOST:
        raise MoneyError(f"{amount!r} is out of range", f"{MOST} is the most")
    return Money(value, code)


def sums(each: Iterable[Money]) -> tuple[Money, ...]:
    """What it comes to in each currency, in the order of their codes."""
    found: dict[str, Decimal] = {}
    for one in each:
        found[one.currency] = found.get(one.currency, Decimal(0)) + one.amount
    return tuple(Money(found[code], code) for code in sorted(found))
