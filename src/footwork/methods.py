"""What each number is: computed how, from which data, with which formula and source. Linked from every number."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Method:
    """One entry of the methods page; ``formula`` may be empty. A † in the text marks a convention without a source."""

    title: str
    text: str
    formula: str
    sources: tuple[str, ...]


METHODS: dict[str, Method] = {
    "interval": Method(
        "What an interval means",
        "Every number that is worked out, not read off, comes with a 95 % interval: given the data and the "
        "assumptions on "
        "this page, the truth lies inside 95 times in 100. Where the data cannot carry a number it is withheld and the "
        "reason stands in its place.",
        "",
        ("Estimates are medians of joint draws; the ends are the 2.5 and 97.5 % quantiles.",),
    ),
    "scales": Method(
        "Scales: whose watts",
        "Watts come from a device's own formula, so each device (sensor or recorder, with the mass set in it "
        "and the field "
        "it writes) has a scale of its own, and watts of two scales are never mixed. Sensor watts are about 1 J per kg "
        "and metre on the flat, a quarter of what the body spends: they say how hard in the device's terms, not how "
        "economical. The physics model is a scale too, called model. A date from which you accept a break "
        "starts a new scale; an "
        "accepted CP stays on the scale it was accepted for.",
        "",
        ("Taboga et al. 2022, Eur J Sport Sci: devices differ in absolute watts.",),
    ),
    "clock-offset": Method(
        "Clock offset of two devices",
        "How late the second device is: the shift at which a signal that both took from outside (position, "
        "else a shared heart rate, "
        "else speed or power) agrees best, after its slow part over five minutes is taken off. The interval "
        "comes from a "
        "bootstrap of 24 blocks of the run and is never under a quarter of a second either way. What power "
        "lags beyond it is the "
        "devices' relative response. Drift is the change from the first to the last third.",
        "maximum over s of the correlation of x(t) and y(t+s)",
        ("Block bootstrap: common practice, no source.",),
    ),
    "agreement": Method(
        "Agreement of two devices",
        "Difference is second minus first, over seconds in which both timers ran, once the clocks are right. "
        "Neighbouring seconds are "
        "alike, so each interval rests on an effective number of pairs, n over one plus twice the sum of the "
        "autocorrelations of "
        "the difference. Limits of agreement hold 95 % of differences. Deming's line takes both devices to "
        "have error, in equal "
        "measure unless said otherwise; its error is a jackknife over blocks. A device is the same within "
        "error when the bias lies "
        "within 2 % and the line's slope may be 1; a typical error over 5 % at 30 s means do not mix (both "
        "our convention).",
        "limits = bias ± 1.96 SD;  CCC = 2 s_xy / (s_x² + s_y² + (x̄ − ȳ)²);  typical error = SD/√2",
        (
            "Bland and Altman 1986, Lancet i:307.",
            "Lin 1989, Biometrics 45:255.",
            "Hopkins 2000, Sports Med 30:1.",
            "Shrout and Fleiss 1979, Psychol Bull 86:420 (intraclass correlation).",
            "Geyer 1992, Statistical Science 7:473: initial positive sequence.",
        ),
    ),
    "modelled-power": Method(
        "Modelled power",
        "Where no power was recorded it is modelled from speed, grade and the runner's mass, and always "
        "called modelled. "
        "Altitude is smoothed over distance first. Without a mass it is withheld.",
        "P = m·c₀·v·(Cr(i)/Cr(0) + 6.13·F/(m·g)),  F = ½·ρ·CdA·(v+w)·|v+w|,  c₀ = 1.0 J/kg/m†, CdA = 0.40 m² at 70 kg†",
        (
            "Minetti et al. 2002, J Appl Physiol 93:1039 (cost of slopes, ±45 %).",
            "da Silva, Kram & Hoogkamer 2022, J Appl Physiol (6.13 % per 1 % of body weight).",
        ),
    ),
    "cleaning": Method(
        "Cleaning",
        "Samples are put in order and on a grid of one second. Gaps of up to 10 s are interpolated, longer ones stay "
        "missing. Impossible values and lone spikes are left out; 0 W while running with cadence is a "
        "drop-out. A timer "
        "pause counts as 0 W in questions of elapsed time. Every change is counted on the run's page; the "
        "original file "
        "stays as it came.",
        "",
        ("Limits and gap length: our conventions†.",),
    ),
    "heart-rate-quality": Method(
        "Heart rate worth using",
        "Heart rate is kept as it was recorded and each second gets a class: 0 sound, 1 doubtful, 2 wrong. "
        "Only sound seconds "
        "enter means and models. Looked for: seconds without a value, values that no heart has, changes of "
        "12 beats or more "
        "within three seconds†, restless stretches as of a dry strap, one and the same number for a minute "
        "or two†, a trace that follows "
        "the cadence where power lets expect another, a sensor that starts late, and stretches that power "
        "rules out: a line on "
        "power with a lag of 20 to 80 s and a slow rise is fitted so that a faulty third does not bend it, "
        "and 12 beats† or 3.5 "
        "robust deviations† from it are too far. Without power only the rules that need none apply. A slow, "
        "plausible error, or a lock "
        "within six beats of the true heart rate, cannot be seen. How many faults it finds on simulated "
        "traces, and how many sound "
        "seconds it spares, is in docs/recovery.md.",
        "",
        ("Kinds of fault: common practice, no source. Thresholds: our conventions†, tuned on simulated faults.",),
    ),
    "mean-maximal": Method(
        "Mean maximal power",
        "The highest mean power over every window of a given length. A window that touches missing data does "
        "not count.",
        "MMP(d) = max over t of (1/d)·Σ P(t…t+d)",
        ("Definition; exact to 0.01 W.",),
    ),
    "critical-power": Method(
        "Critical power and W′",
        "CP is the border above which effort cannot be steady, W′ the work that can be done above it. All "
        "evidence on one "
        "scale enters one joint estimate. Maximal efforts of runs marked race or test are measurements with a day form "
        "of 2 %† shared by a day's efforts and a heavy tail. Best 3, 7 and 12 minutes of six weeks of ordinary running "
        "read about 3 % low with a spread of 4.5 %†. Otherwise ordinary runs say only that capacity was at "
        "least so much. A filter "
        "follows all of it from day to day and widens the interval when nothing informs it; the newest "
        "habitual bests take the place of "
        "older ones. The hyperbola reads CP above the asymptote of Morton's form, so CP is lowered by 1 ± "
        "0.8 %† and W′ raised to "
        "match. Races entered by hand become watts by power at speed, with its error. A three-minute all-out "
        "test enters with a bias of +5 ± 6 %.",
        "P(t) = CP + W′/t for about 2 to 15 minutes",
        (
            "Hunter, Ledger & Muniz-Pumares 2023, IJSPP (habitual 281 W, trials 290 W, all-out 305 W).",
            "Drake, Finke & Ferguson 2023, doi:10.1007/s00421-023-05274-5 (where the hyperbola holds).",
            "Morton 1996, Ergonomics 39:611 (three-parameter form).",
        ),
    ),
    "tail": Method(
        "The long tail",
        "Beyond some 8 to 30 minutes power falls slowly with the logarithm of time. The slope γ is learned "
        "from long efforts "
        "and otherwise follows a prior: median 0.065, 95 % from 0.035 to 0.12†, which covers mean marathon speeds.",
        "P(t) = P(T*)·(1 − γ·ln(t/T*)),  T* = W′(1−γ)/(γ·CP)",
        (
            "Emig & Peltonen 2020, Nat Commun 11:4936 (the logarithmic form).",
            "Smyth & Muniz-Pumares 2020 (marathon speeds).",
        ),
    ),
    "power-duration": Method(
        "Power for a duration",
        "The power-duration relationship drawn with its interval through the joint draws of CP, W′ and γ.",
        "see Critical power and The long tail",
        (),
    ),
    "domains": Method(
        "Intensity domains",
        "Moderate up to 80 % of CP (72 to 88 %†), heavy up to CP, severe up to the power for two minutes, "
        "extreme beyond. "
        "Borders are bands, not lines. Time in domains uses the mean of 30 s. Heart rate tells the lower two "
        "borders only.",
        "",
        ("The four domains are the textbook's; the 80 % is common practice, no source†.",),
    ),
    "cp-minutes": Method(
        "CP-minutes",
        "A load for a run: minutes weighted by intensity, so that one minute at CP counts 1.",
        "Σ x·e^(1.9·(x−1)) minutes, x = 30 s mean power / CP",
        ("The exponential weighting of the training impulse (Banister; Morton et al. 1990), applied to power†.",),
    ),
    "power-at-speed": Method(
        "Power at speed",
        "What this scale shows at a pace, from steady minutes of the last six weeks, drawn towards 1 J/kg/m "
        "where there are few. "
        "Joules per metre are a line on speed, times what slopes, wind and warmth add: the device's share of "
        "Minetti's cost up and "
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
        "Optimal control: least time over the course's segments so that W′ and endurance never fall below a "
        "reserve, with power at most "
        "that for two minutes, speed downhill at most a twentieth above the fastest minutes that your own "
        "descents of the last six weeks show (else 1.3 times that at CP†) and power changing by at most 2 % "
        "of CP a second†. A metre costs "
        "nearly the same at any speed, so the gain over even power is small and shown as it is. Even power, "
        "even pace and the quickest "
        "plan keep the same reserve. Race days: the plan is run on 2,000 joint draws of capacity, power at "
        "speed, conditions and execution "
        "(1 %†) and the day's form (2 %†); from where a store is empty the rest is run at 80 % of the plan, "
        "and of CP at most†. Endurance also counts work above CP, without recovery, so it empties first. A "
        "risk asked for sets the reserve. Instructions are the "
        "best division of the watts your device will show, a dozen at most. The recovery of W′ was measured "
        "in cycling; that endurance is spent "
        "linearly is our assumption†. Climbs of 15 %† and more at up to 1.6 m/s† are walked, by Minetti's "
        "walking cost.",
        "min Σ L/v  subject to  W′ balance ≥ r·W′,  Σ dt/T_lim(P) ≤ 1 − r",
        (
            "Keller 1973, Physics Today 26(9):42 (checked: 400 m to 10 km within 0.2 %).",
            "Skiba & Clarke 2021, IJSPP (W′ balance).",
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
        "Race at even power",
        "The power that the power-duration relationship allows for the time that this power takes over the "
        "course: both are found "
        "together, for 2,000 joint draws of CP, W′, γ, power at speed and conditions. A goal's chance is the share of "
        "draws that reach it; below 5 % the CP that it would take is given instead. Hills cost by Minetti's "
        "ratio; wind at "
        "10 m comes down to 1.2 m by a log profile and is sheltered by 0.7†. A sensor blind to wind shows "
        "less into it.",
        "P = P(T(P))",
        ("Minetti et al. 2002; da Silva et al. 2022; the log wind profile.",),
    ),
    "efforts": Method(
        "Efforts found in a run",
        "Power (or speed as on the flat, or heart rate with its lag undone) is cut where its level changes, "
        "by exact penalised least squares; the "
        "two levels that explain the stretches best are work and recovery, at least 9 % apart†, and only "
        "where they explain most of how the run "
        "varies†. Edges are then moved to the second. Stops under 40 s† inside one effort are lights. "
        "Repeats that agree in time or distance "
        "are a group. A run of one level is one piece of work.",
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
    "progress": Method(
        "Progress: heart rate at power",
        "Each settled minute with sound heart rate is explained by power as the heart has come to it (first "
        "order, a time constant below and above 85 % of CP, "
        "chosen by fit), slope, time into the run, warmth over 12 °C and its time, illness and short sleep "
        "from the diary, each run's own level and drift, and a level that moves "
        "from week to week. Warmth comes from weather, not the watch, with a prior of 0.5 ± 0.4 bpm a "
        "degree†; where weather is not known the season may swing by 3 bpm†. "
        "Variances are found by marginal likelihood; runs far out lose weight. From it comes power at a "
        "heart rate on any day, at reference conditions. A change is withheld when its posterior correlation "
        "with warmth, the unknown season or a conversion of watts passes 0.8. The verdict is on power at the "
        "same heart rate: the probability that it changed by the smallest worthwhile change (0.5 %†, "
        "editable) "
        "must reach what Pocock's bound asks for a whole season of weekly looks, 0.975 for one look. Errors "
        "of the watts that the heart does not answer are estimated from evenly run minutes (power three "
        "minutes away as an instrument) and taken out of "
        "the slope. Withheld also where heart rate was told at one power only, or where the device shows "
        "other watts at the same speed by a third of the change.",
        "HR = level(week) + b·x + c·x² + slope + drift·t + heat·(T − 12) + heat·t + illness + sleep + run + run·t",
        (
            "Time constants 38 to 132 s in running ramps: Gielen et al. 2024, doi:10.1088/1361-6579/ad56f7. "
            "Drift from about ten minutes on: Wingo et al. 2012, doi:10.1097/JES.0b013e31824c43af.",
            "Pocock 1977, Biometrika 64:191; Armitage, McPherson & Rowe 1969, JRSS A 132:235 (the "
            "integration). Smallest worthwhile change after Hopkins; common practice for one runner.",
        ),
    ),
    "within-run": Method(
        "Heart rate along one run",
        "A straight drift of heart rate in time, after ten minutes, beside power as the heart has come to it "
        "(its slope from the runner's season) and climbing; neighbouring minutes are alike, which widens "
        "the interval. Held against the drift that the runner's season shows at that warmth.",
        "HR = a + b·x + climbing + drift·t",
        ("Least squares with first-order autocorrelation; Wingo et al. 2012 for drift from about ten minutes on.",),
    ),
    "durability": Method(
        "After so much work",
        "Heart rate at the same power in minutes after so many kilojoules, against the same run's minutes "
        "between 100 and 350 kJ†, with drift left in and heat taken off; the mean over runs and its interval.",
        "",
        ("Means over runs, Student's t; the limits are our convention.",),
    ),
    "speed-at-power": Method(
        "Flat speed at a power",
        "Median joules per metre of each run's near-flat minutes within a fifth of the reference power, as "
        "speed at it; the mean of a month's runs. It describes the device.",
        "",
        ("Minetti et al. 2002 for what little slope is left.",),
    ),
    "form": Method(
        "Form at the same speed",
        "Cadence, step length, stance time and vertical oscillation of each run's near-flat minutes, brought "
        "to one speed by the slope within runs; a straight line through the runs gives the change. No target "
        "values: "
        "what is measured explains running economy too little.",
        "",
        ("Folland et al. 2017, MSSE 49:1412; Van Hooren et al. 2024 (no relation of contact time alone).",),
    ),
    "compare-runs": Method(
        "Runs against each other",
        "Minutes of both sides at the power that both ran, and where enough runs remain in one band of "
        "temperature, are brought to reference conditions by the model of progress; the difference of the "
        "sides' means "
        "holds the spread from run to run, that of drift, and what the model leaves open: each side has a "
        "free step in it, with a flat prior. No verdict where the worse side was wholly warmer. Speed at "
        "power and form are described, not judged.",
        "",
        ("As progress; Welch's interval for what is described.",),
    ),
    "trial": Method(
        "Trials of a change",
        "Orders are random and mirrored (ABBA), so that a steady drift favours none, and half of the runs "
        "begin with each. How many runs it takes is what gives the verdict itself its chance: a t-test over "
        "runs that must pass the smallest worthwhile effect, with the runner's own typical error of a block "
        "(or 1.2 bpm†) and 0.8 bpm† between runs. Blocks are laps of a block's length in order, else the "
        "design's times on the running clock; their first half is left out, three minutes at most†. Heart "
        "rate is brought to one speed. The effect comes from "
        "restricted maximum likelihood with a level and drift for each run and an effect that may differ "
        "from run to run, Satterthwaite's degrees of freedom, at most runs less one. Each planned run counts "
        "as a look (Pocock), several conditions and secondary outcomes by Bonferroni. "
        "One run alone gives no verdict. Watts are secondary: the sensor that feels the change also computes them.",
        "y = run + drift·t + effect·condition + effect(run) + e",
        (
            "Satterthwaite 1946; Pocock 1977; typical error: Hopkins 2000, Sports Med 30:1. Smallest "
            "worthwhile effects: 2 bpm, 0.6 ml/kg/min, 1 point of exertion, common practice, no source.",
        ),
    ),
    "cadence-curve": Method(
        "Cadence curve",
        "A quadratic of the outcome on the cadence that was run, with a level and drift for each run; its "
        "vertex has Fieller's interval. Withheld where the curve does not bend for sure or the vertex lies "
        "outside. "
        "From everyday runs cadence is only described.",
        "y = run + drift·t + b·c + a·c², optimum −b/2a",
        (
            "Hunter & Smith 2007, doi:10.1007/s00421-007-0456-1; Cavanagh & Williams 1982 (the design of "
            "five cadences).",
        ),
    ),
    "brick": Method(
        "Running after a ride",
        "The literature's rise of energy cost after cycling, 1.6 to 11.6 %, is the prior of what can no "
        "longer be held, in full from an hour of "
        "riding on†. Brick runs tell how watts at a speed differ from fresh runs, and maximal ones how much "
        "could be held.",
        "",
        (
            "Millet & Vleck 2000, Br J Sports Med 34:384; Hausswirth et al. 1997, Int J Sports Med 18:330 "
            "(the same direction).",
        ),
    ),
    "conditions": Method(
        "Heat and altitude",
        "Heat takes from capacity by wet-bulb globe temperature, taken as 1.5 ± 0.75 times† what it took "
        "from marathon winners "
        "and in proportion for shorter races. Altitude takes by the published curves, anywhere between "
        "acclimatised and not. "
        "Air density follows CIPM-2007 and the standard atmosphere.",
        "WBGT ≈ 0.567·T + 0.393·e + 3.94",
        (
            "Ely et al. 2007, doi:10.1249/mss.0b013e31802d3aba.",
            "Bassett et al. 1999; Picard et al. 2008 (CIPM-2007); ISO 2533.",
        ),
    ),
    "cautions": Method(
        "Cautions",
        "Maximal tests and races are only for people who are well, used to hard running and warmed up. Stop "
        "at chest pain, "
        "faintness or unusual breathlessness and see a physician. Ask a physician before hard training with "
        "known heart, "
        "metabolic or kidney disease, with symptoms, after illness, or when starting anew. In heat follow "
        "the organiser's "
        "flags. Footwork informs; it does not replace a physician, a licensed coach or local rules.",
        "",
        ("Riebe et al. 2015, MSSE 47:2473 (screening); flags as used by the ACSM.",),
    ),
}
