"""Which recipe a vat is made by: the row of its name, or the usual one, in force on its day."""

from collections.abc import Iterable
from datetime import date
from decimal import Decimal

from config.once_a_page import once_a_page
from milk.composition import kilos_of_litres
from milk.models import Recipe, Vat

# One mass is cut into two twins where no recipe says otherwise (the producers' body of hard
# cheeses of this family, as quoted by a dairy museum's page).
TWINS = 2


@once_a_page
def recipes_on(day: date) -> list[Recipe]:
    """The standing rows in force by a day, the newest last; one statement."""
    rows = Recipe.objects.standing().filter(valid_from__lte=day)
    return list(rows.order_by("valid_from", "id"))


def pick(rows: Iterable[Recipe], name: str, day: date) -> Recipe | None:
    """The newest row of a name on a day; of the usual recipe for a blank name. Rows in order."""
    found = None
    for row in rows:
        if row.valid_from <= day and (row.name.lower() == name.lower() if name else row.usual):
            found = row
    return found


def recipe_of(vat: Vat) -> Recipe | None:
    """The recipe of one vat; None when no row is in force."""
    return pick(recipes_on(vat.day), vat.recipe, vat.day)


def wheels_of(recipe: Recipe | None) -> int:
    """How many wheels a vat makes."""
    return recipe.wheels if recipe else TWINS


def range_kg(recipe: Recipe | None) -> tuple[Decimal | None, Decimal | None]:
    """What a vat holds at least and at most, in kg; None where the recipe sets no bound."""
    if recipe is None:
        return None, None
    least, most = recipe.least_l, recipe.most_l
    return (
        None if least is None else kilos_of_litres(least),
        None if most is None else kilos_of_litres(most),
    )
