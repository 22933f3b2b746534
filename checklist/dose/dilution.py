"""Dilution: a strong solution made weaker, forward and back."""

from checklist.dose.working import DoseFault, Working, above_zero, in_unit, said, worked
from checklist.quantity import Concentration, Quantity


def stock_volume(stock: Concentration, wanted: Concentration, final: Quantity) -> Working:
    """The mL of stock for a final volume of the wanted strength: wanted x final / stock.

    Raises DoseFault when the wanted strength is above that of the stock, or the volume is not
    above zero; DimensionMismatch across kinds. Formula: common practice, no source.
    """
    above_zero("A final volume", final)
    volume, changed = in_unit(final, "mL")
    strong, weak = stock.per_mL, wanted.per_mL
    if not weak <= strong:
        raise DoseFault(
            f"{weak} is stronger than the stock of {strong}. Diluting cannot make it: read both"
            " strengths again."
        )
    like, more = in_unit(weak, strong.unit)
    return worked(
        "stock",
        "wanted strength × final volume ÷ stock strength",
        f"{like} × {volume} ÷ {strong}",
        volume * like.ratio(strong),
        *changed,
        *more,
    )


def diluent_volume(stock: Concentration, wanted: Concentration, final: Quantity) -> Working:
    """The mL of diluent that go with `stock_volume`: final volume less stock. Raises as it does."""
    first = stock_volume(stock, wanted, final)
    volume = final.to("mL")
    value = volume - first.exact
    return Working(
        value=value,
        exact=value,
        lines=(
            *first.lines,
            "diluent = final volume − stock",
            f"diluent = {volume} − {first.exact}",
            f"diluent = {said(value)}",
        ),
    )


def diluted(stock: Concentration, taken: Quantity, final: Quantity) -> Working:
    """The strength in each mL once the stock that was taken is filled up to the final volume.

    Raises DoseFault when more is taken than the final volume, or either is not above zero.
    Formula: common practice, no source.
    """
    above_zero("A volume of stock", taken)
    above_zero("A final volume", final)
    part, first = in_unit(taken, "mL")
    whole, second = in_unit(final, "mL")
    if not part <= whole:
        raise DoseFault(f"{taken} of stock is more than the final {final}. Read both again.")
    return worked(
        "strength",
        "stock strength × stock ÷ final volume",
        f"{stock.per_mL} × {part} ÷ {whole}",
        stock.per_mL * part.ratio(whole),
        *first,
        *second,
    )
