"""The lot of a wheel as labels and papers name it: its vat."""

from milk.models import Vat


def vat_code(vat: Vat) -> str:
    """The lot as codes carry it (GS1 AI 10): “20260609-17”, with “-2” for the second round."""
    code = f"{vat.day:%Y%m%d}-{vat.number:02d}"
    return code if vat.round == 1 else f"{code}-{vat.round}"
