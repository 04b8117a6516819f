"""What is that in another unit? One quantity, as it is written on paper, in the unit asked for."""

import click

from weirhouse.cli.options import json_option, print_json
from weirhouse.quantity import QuantityError, known, parse, written


# "-3 degC" is a quantity, not an option, and the h of "-3 h" is no call for help
@click.command(context_settings={"ignore_unknown_options": True, "help_option_names": ["--help"]})
@click.argument("quantity")
@click.argument("unit")
@json_option
def convert(quantity: str, unit: str, as_json: bool) -> None:
    """Write QUANTITY in UNIT: weirhouse convert "25 gal/day" mL/min

    The quantity has its unit with it and may be of several parts: "4 ft 6 in". Factors are exact.
    """
    if not known(unit):
        raise QuantityError(
            f'unit: "{unit[:60]}" is not a unit known here. Write it like "mL/min", "gpm/ft2" or "degF".'
        )
    value = parse(quantity, unit, "quantity")
    if as_json:
        print_json({"quantity": quantity, "value": value, "unit": unit})
        return
    click.echo(f"{quantity.strip()} = {written(value, unit, digits=5)}")
