"""People, places, policies, notices, receipts, the abstract line of the trail, and its seals."""

from journal.models.notices import LONGEST_ADDRESS, WORDS_LENGTH, Channel, Delivery, Notice
from journal.models.people import Duty, Person, Place, ScannerCheck, Station
from journal.models.records import Counter, Line, PolicySetting, Receipt
from journal.models.seals import Head, SealedLeaf, Verification

__all__ = [
    "LONGEST_ADDRESS",
    "WORDS_LENGTH",
    "Channel",
    "Counter",
    "Delivery",
    "Duty",
    "Head",
    "Line",
    "Notice",
    "Person",
    "Place",
    "PolicySetting",
    "Receipt",
    "ScannerCheck",
    "SealedLeaf",
    "Station",
    "Verification",
]
