"""The published data package and its reader: every table, column, unit, sign, code and limit, written once."""

from shared.catalogue.catalogue import Column, ForeignKey, RowRule, Table, catalogue

__all__ = ["Column", "ForeignKey", "RowRule", "Table", "catalogue"]
