"""Methods: power at speed, devices, pacing, usual watts, efforts, sessions and races."""

from __future__ import annotations

from footwork.methods.entry import Method

RACED: dict[str, Method] = {
    "power-at-speed": Method(
        "Power at speed",
        "What this scale shows at a pace, from steady minutes of the last six weeks, drawn towards 1 J/kg/m "
        "where there are few. "
        "Joules per metre are a line on speed, times what slopes, wind and warmth add: the device's share of "
        "Minetti's cost at 3, 6 and 10 % up and "
        "down (prior 1 ± 0.3†), of the wind's drag (0.5 ± 0.5†) and a share per degree (0 ± 0.2 %†), as far "
        "as the runs tell them. "
        "Runs differ from day to day and the error counts runs, not minutes. It describes the device, not "
        "economy. Runs without a "
        "meter get watts of the scale by it; how far that is off is found on measured runs that were held "
        "out, a fifth at a time.",
        "P = v·(a + b·(v − v̄))·(1 + u·(Cr(i)/Cr(0) − 1) + w·drag + k·(T − 15 °C))",
        (
            "Minetti et al. 2002, J Appl Physiol 93:1039.",
            "Least squares with a run effect; the priors' spreads are our convention†.",
        ),
    ),
    "conversion": Method(
        "Converting watts of one scale to another",
        "From the steady, level minutes of runs that both devices recorded: a factor that may change a "
        "little with power (prior "
        "± 5 % over a doubling†), a run effect, and errors that count runs. How hard a minute was is told by "
        "speed and slope, not by "
        "either device's watts, whose own error would tilt the line. Where two devices never ran together, "
        "through modelled power: "
        "both conversions' errors and 2 %† more. Beyond the powers seen, the factor stays what it was at "
        "their edge. On a scale with "
        "converted watts every other device's runs count too: each with its spread about the conversion, all "
        "with the conversion's own "
        "error, which goes into CP, domains and plans. An accepted CP is never converted.",
        "P₂ = P₁·(a + b·(P₁ − P̄)/P̄)",
        ("Least squares with a run effect; spreads: our convention†.",),
    ),
    "drift": Method(
        "Does a device still show what it showed?",
        "Each run's watts in steady, level, easy minutes against the device's own power at speed, in order "
        "of date. Change points are "
        "the best division by a sum of squares with a penalty; a jump counts when it is 2 % or more†, stands "
        "out by 3.3 errors† and has five "
        "runs on each side. Heart rate at the same speed is compared across it, twenty runs on each side: if "
        "it did not change as so "
        "many real watts would (100 beats for a doubling of easy speed†), it is the device. Simulated "
        "seasons without a jump raise a false "
        "alarm, and those with one are found, as often as docs/recovery.md says.",
        "",
        (
            "Truong, Oudre & Vayatis 2020, Signal Processing 167:107299 (change points).",
            "Thresholds: our conventions†.",
        ),
    ),
    "device-check": Method(
        "The device check",
        "Three steady speeds, three minutes each at known times, then the same three again. Each step counts "
        "from its 45th second†. "
        "Typical error: of the repeats, the second round brought to the first's speeds; repeatability is "
        "Bland and Altman's coefficient, which "
        "95 % of repeats lie within. Response: seconds from the known time of a step to 63 % of it, the "
        "legs' own time to change included. "
        "Linearity: how far the middle speed lies off the line through the others. Three repeats say little: "
        "intervals are wide.",
        "typical error = √(Σd²/2n);  repeatability = 2·√(Σd²/n)",
        ("Bland and Altman 1986, Lancet i:307.", "Hopkins 2000, Sports Med 30:1.", "The protocol: our convention†."),
    ),
    "pacing": Method(
        "The quickest plan, and the risk of it",
        "One plan, made for a risk: on one race day in five, unless you ask for another, you must ease so much that "
        "it costs more than 1 % of the time; the planned time has in hand what a device shows differently from day "
        "to day. Optimal control: least time over the course's segments so that W′ and endurance never fall below a "
        "reserve, with power at most that for two minutes and changing by at most 2 % of CP a second†. Endurance is "
        "spent by the mean of power over five minutes† (two-sided, mirrored at start and finish), so that no kick is"
        " free and a band of effort is: each stretch's band is as wide as costs under 0.3 % of the time in all. A "
        "metre costs nearly the same at any speed, so the gain over even effort is small. Downhill you get a share "
        "of what Minetti's curve saves (0.55 ± 0.15†), learned by grade from your own minutes together with how hard"
        " you run descents, and go no faster than your own minutes or the convention (1.25 times the level at 5 %, "
        "1.35 at 10 %†) allow. Race days: the plan is run on 2,000 joint draws of capacity, power at speed, "
        "conditions, execution (1 %†) and the day's form (2 %†) by runners who feel, with an error, what is left and"
        " ease; where a store is empty all the same the rest is run at 80 % of the plan, and of CP at most†. "
        "Instructions are the best division of the watts your device will show, ten at most. The recovery of W′ was "
        "measured in cycling; that endurance is spent linearly is our assumption†. Climbs of 15 %† and more at up to"
        " 1.6 m/s† are walked, by Minetti's walking cost.",
        "min Σ L/v  subject to  W′ balance ≥ r·W′,  Σ dt/T_lim(P̄) ≤ 1 − r,  P̄ − (τ/2)² P̄″ = P",
        (
            "Keller 1973, Physics Today 26(9):42 (checked: 400 m to 10 km within 0.2 %).",
            "Skiba & Clarke 2021, IJSPP (W′ balance).",
            "Townshend et al. 2010, Med Sci Sports Exerc 42:160 (hills); Davies 1980, at second hand.",
            "Andersson et al. 2019, Math Prog Comp 11:1 (CasADi); Wächter & Biegler 2006, Math Prog 106:25 (IPOPT).",
        ),
    ),
    "usual": Method(
        "Usual watts",
        "Steady minutes of the half year before, on one scale. Easy, steady and hard are below 80 %, up to "
        "100 % and above 100 % "
        "of CP†. Watts at pace follow a line in pace with an effect for each run, with slope and time into "
        "the run taken out; "
        "heart rate at power likewise. Where the weather of runs was told, temperature and the wind's drag "
        "enter, and how much of the wind "
        "the device shows is learned. A run is unusual when it lies beyond what nineteen in twenty runs "
        "show. Surface, shoe and "
        "device are not in it: the watts alone cannot tell them apart. Errors of the effects come from the "
        "misfit of whole runs.",
        "ln(P/v/slope) = a + b·(v − v̄) + climbing + descending + time + warmth + wind + run",
        ("Least squares with a run effect and weak priors†; sandwich errors by run.",),
    ),
    "heart-rate-borders": Method(
        "Heart rate at the borders",
        "A line of heart rate on power through settled minutes (three alike before, not in the first eight) "
        "on one scale, with "
        "the spread between runs in the interval. Withheld with fewer than 30 such minutes in three runs.",
        "",
        ("First-order response of heart rate, time constant 38 to 132 s: Gielen 2024, doi:10.1088/1361-6579/ad56f7.",),
    ),
    "race": Method(
        "What can be held in a race",
        "The power that the power-duration relationship allows for the time that this power takes over the course: "
        "both are found together, for 2,000 joint draws of CP, W′, γ, power at speed and conditions; on a day alike "
        "never less than your runs have shown for so long. A goal's chance is the share of draws that reach it; "
        "below 5 % the CP that it would take is given instead. Hills cost by Minetti's ratio, descents as under the "
        "quickest plan. Wind at 10 m comes down to 1.2 m by a log profile and is sheltered by 0.7†; from the side it"
        " holds back too. Heat is the loss at the race's wet-bulb globe temperature less that at your runs': none up"
        " to 12 to 15 °C, then 0.33 % a degree†; without weather the season's usual one at the place is taken. "
        "Altitude acts on CP from the first metre. A sensor blind to wind shows less into it.",
        "P = P(T(P));  F = ½ρ·CdA·(v + w∥)·√((v + w∥)² + w⊥²)",
        (
            "Minetti et al. 2002; da Silva et al. 2022; the log wind profile.",
            "Mantzios et al. 2022, Med Sci Sports Exerc 54:153; Ely et al. 2007; Bassett et al. 1999, from memory.",
        ),
    ),
    "efforts": Method(
        "Efforts found in a run",
        "Power (or speed as on the flat, or heart rate with its lag undone) is cut where its level changes, "
        "by exact penalised least squares; the "
        "two levels that explain the stretches best are work and recovery, at least 9 % apart†, and only "
        "where they explain most of how the run "
        "varies†. Edges are then moved to the second. Stops under 40 s† inside one effort are lights. "
        "Repeats that agree in time or distance "
        "are a group. A run of one level is one piece of work. Where another division fits nearly as well†, it is told "
        "too, and the parts that it lacks are called not sure: on simulated sessions one in sixteen is told so, and "
        "half of these are divided wrongly, half of all that are.",
        "",
        (
            "Killick, Fearnhead & Eckley 2012, JASA 107:1590 (exact change points); Truong et al. 2020, "
            "Signal Processing 167:107299.",
        ),
    ),
    "sessions": Method(
        "Sessions: preview and match",
        "Words stand for shares of the accepted CP†, or of the estimated one where none is accepted; "
        "exertion becomes a share of CP by common practice, pace "
        "by power at speed, heart rate by the line through the domain borders. W′ balance runs over the "
        "draws of CP and W′, its own published error in "
        "proportion to what is spent; dry is W′ spent, or steps without an easy one between longer than can "
        "be held. A kinder version is finished in four of five days. "
        "A run is matched by the least total of differences in duration and power, with a cost for what was "
        "left out or added†.",
        "",
        (
            "Skiba et al. 2015, Eur J Appl Physiol 115:703; Townsend et al. 2017, Front Physiol 8:180; "
            "exertion: common practice, no source.",
        ),
    ),
    "repeated-sessions": Method(
        "The same session weeks apart",
        "Pieces of work of two runs of one device are aligned; changes are their mean over the repeats, with "
        "the spread over them and from day to day (the "
        "device's own at a speed, 3 bpm† of heart rate). Heart rate is brought to the same power at one beat "
        "for one per cent of power†.",
        "",
        ("Our convention†.",),
    ),
    "w-prime-balance": Method(
        "W′ balance along a run",
        "The differential form over the draws of CP and W′ known on the day: spent above CP, given back "
        "below it in proportion to what is missing. "
        "Its published error at exhaustion, 2 kJ, is part of the interval in proportion to what is spent. "
        "Recovery was measured in cycling.",
        "dW/dt = −(P − CP) above CP, (CP − P)(W′ − W)/W′ below",
        ("Skiba et al. 2015, Eur J Appl Physiol 115:703; Townsend et al. 2017, Front Physiol 8:180.",),
    ),
    "review": Method(
        "A race against its plan",
        "The plan is what the evidence up to the day before allows, on the run's own track without warm-up "
        "and cool-down. Effort is the time "
        "that the power run gains or loses against the planned one; the rest is road, weather, device and "
        "form together. Results are held "
        "against the times that could be reached; eight of ten belong between P10 and P90. A marked race is "
        "evidence of capacity and of the tail.",
        "",
        ("Our convention†; the stores as under the quickest plan.",),
    ),
}
