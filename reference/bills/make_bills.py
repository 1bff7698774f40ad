"""Bills reckoned with Python's decimal, for crates/quantity/tests/bills.rs.

Python 3.11, module decimal (its own arithmetic, precision 60). Writes bills.csv: one row for each hundred of a hundred thousand
drawn bills, with the sums of net amount and tax in minor units and a sum in which each bill weighs by its number, so that two
errors cannot make up for each other. The draws come from SplitMix64 (Steele, Lea, Flood, OOPSLA 2014), which both sides have.

    python3 make_bills.py > bills.csv
"""

from decimal import ROUND_DOWN, ROUND_HALF_EVEN, ROUND_HALF_UP, Decimal, getcontext

getcontext().prec = 60
MASK = (1 << 64) - 1
ROUNDING = (ROUND_HALF_UP, ROUND_HALF_EVEN, ROUND_DOWN)
DIGITS = (2, 0, 3)  # euro, yen, Tunisian dinar: ISO 4217
BILLS, BLOCK = 100_000, 100


class Draw:
    def __init__(self, seed):
        self.state = seed

    def below(self, n):
        self.state = (self.state + 0x9E3779B97F4A7C15) & MASK
        z = self.state
        z = ((z ^ (z >> 30)) * 0xBF58476D1CE4E5B9) & MASK
        z = ((z ^ (z >> 27)) * 0x94D049BB133111EB) & MASK
        return (z ^ (z >> 31)) % n


def bill(number):
    draw = Draw(number)
    unit = Decimal(1).scaleb(-DIGITS[draw.below(3)])
    rate = Decimal(draw.below(2800)) / Decimal(10_000)
    by_line = draw.below(2) == 1
    with_tax = draw.below(2) == 1
    rounding = ROUNDING[draw.below(3)]
    to_unit = lambda x: x.quantize(unit, rounding=rounding)
    lines = []
    for _ in range(1 + draw.below(12)):
        each = Decimal(draw.below(500_000)) * unit
        count = Decimal(1 + draw.below(2000)) / Decimal(100)
        markup = Decimal(draw.below(600)) / Decimal(1000)
        taxed = draw.below(4) > 0
        lines.append((to_unit(each * count * (1 + markup)), taxed))

    def split(amount):
        if with_tax:
            net = to_unit(amount / (1 + rate))
            return net, amount - net
        return amount, to_unit(amount * rate)

    taxed = [amount for amount, is_taxed in lines if is_taxed]
    if by_line:
        parts = [split(amount) for amount in taxed]
    else:
        parts = [split(sum(taxed, Decimal(0)))]
    net = sum((n for n, _ in parts), Decimal(0)) + sum((a for a, is_taxed in lines if not is_taxed), Decimal(0))
    tax = sum((t for _, t in parts), Decimal(0))
    return int(net / unit), int(tax / unit)


print("first,net,tax,weighed")
for first in range(0, BILLS, BLOCK):
    nets = taxes = weighed = 0
    for number in range(first, first + BLOCK):
        net, tax = bill(number)
        nets += net
        taxes += tax
        weighed += (number - first + 1) * (net + 3 * tax)
    print(f"{first},{nets},{taxes},{weighed}")
