"""Formulas of the methods, typeset as pictures without any network."""

from __future__ import annotations

from functools import lru_cache

# As the typesetter's mathematics writes what `Method.formula` says in plain text, by the method's key.
TYPESET = {
    "clock-offset": 'hat(s) = op("argmax", limits: #true)_s "corr"(x(t), y(t + s))',
    "agreement": (
        '"limits" = "bias" plus.minus 1.96 "SD", quad '
        '"CCC" = (2 s_(x y)) / (s_x^2 + s_y^2 + (macron(x) - macron(y))^2), quad '
        '"typical error" = "SD" / sqrt(2)'
    ),
    "modelled-power": "P = m c_0 v (C_r (i) / (C_r (0)) + (6.13 F) / (m g)), quad F = 1/2 rho C_d A (v + w) abs(v + w)",
    "mean-maximal": '"MMP"(d) = max_t 1/d sum_(k = 0)^(d - 1) P(t + k)',
    "critical-power": 'P(t) = "CP" + W\' / t',
    "tail": 'P(t) = P(T^*) (1 - gamma ln t / T^*), quad T^* = (W\' (1 - gamma)) / (gamma "CP")',
    "cp-minutes": 'sum x e^(1.9 (x - 1)), quad x = P_(30 "s") / "CP"',
    "load": (
        'L = sum x e^(1.9 (x - 1)) e^(h "climb" + d "descent" + q ln t / 90), quad '
        '"felt" = 0.72 (E / 5)^0.85 "a minute", quad "Var" = sum s^2 L^2 + "shared"'
    ),
    "power-at-speed": 'P = v (a + b (v - macron(v))) (1 + u (C_r (i) / (C_r (0)) - 1) + w D + k (T - 15 °"C"))',
    "conversion": "P_2 = P_1 (a + b (P_1 - macron(P)) / macron(P))",
    "device-check": '"typical error" = sqrt((sum d^2) / (2 n)), quad "repeatability" = 2 sqrt((sum d^2) / n)',
    "pacing": (
        'min sum L / v quad "with" quad W\'_"bal" >= r W\', quad '
        "sum (d t) / (T_\"lim\" (macron(P))) <= 1 - r, quad macron(P) - (tau / 2)^2 macron(P)'' = P"
    ),
    "usual": 'ln P / (v s) = a + b (v - macron(v)) + "climbing" + "descending" + "time" + "warmth" + "wind" + "run"',
    "race": "P = P(T(P)), quad F = 1/2 rho C_d A (v + w_parallel) sqrt((v + w_parallel)^2 + w_perp^2)",
    "w-prime-balance": '(d W) / (d t) = cases(-(P - "CP") & "above CP", ("CP" - P) (W\' - W) / W\' quad & "below")',
    "progress": (
        '"HR" = l_"week" + b x + c x^2 + "slope" + d t + h (T - 12) + h\' t + "illness" + "sleep" + u_"run" + v_"run" t'
    ),
    "within-run": '"HR" = a + b x + "climbing" + d t',
    "trial": 'y = u_"run" + d t + beta z + beta_"run" z + epsilon',
    "cadence-curve": 'y = u_"run" + d t + b c + a c^2, quad c^* = -b / (2 a)',
    "conditions": '"WBGT" approx 0.567 T + 0.393 e + 3.94',
}


@lru_cache(maxsize=1)
def typeset_formulas() -> dict[str, str]:
    """Every formula as SVG in the colour of the text about it, by its method's key. Takes a second, once."""
    import typst

    head = "#set page(width: auto, height: auto, margin: 2pt, fill: none)\n#set text(size: 13pt)\n"
    pages = "\n#pagebreak()\n".join(f"$ {formula} $" for formula in TYPESET.values())
    made = typst.compile((head + pages).encode(), format="svg")
    drawn = made if isinstance(made, list) else [made]
    return {
        key: svg.decode().replace("#000000", "currentColor").replace("<svg ", '<svg class="formula" ', 1)
        for key, svg in zip(TYPESET, drawn, strict=True)
    }
