"""Methods: whose watts, cleaning, capacity, domains and load."""

from __future__ import annotations

from footwork.methods.entry import Method

HELD: dict[str, Method] = {
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
        "missing. Impossible values and spikes of up to three samples are left out; 0 W while running with cadence is "
        "a drop-out. A timer pause counts as 0 W in questions of elapsed time. Every change is counted on the run's "
        "page; the original file stays as it came.",
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
        "robust deviations† from it are too far. Minutes in which the trace stays six beats† away from such a line, "
        "somewhere ten†, are doubted, as a wrist sensor's that rises late or sticks; so is a whole run whose heart "
        "rate answers power by less than 31 beats† for double the effort, or of which a third† does not fit. You can "
        "overrule either with `footwork mark 17 --heart-rate sound` or `doubtful`, or the buttons on the run's page. "
        "Without power, speed and slope tell the effort. A plausible error of a few beats, or a lock "
        "within six beats of the true heart rate, cannot be seen; one sound second in twenty is doubted too. "
        "How many faults it finds on simulated "
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
        "CP is the border above which effort cannot be steady, W′ the work that can be done above it. Maximal "
        "efforts of runs marked race or test are measurements with a day form of 2 %† shared by a day's efforts "
        "and a heavy tail; a filter follows them from day to day and widens the interval when nothing informs it. "
        "Everyday runs set the level first, the shape afterwards, so that a better best never reads as worse: the "
        "three strongest runs over all shapes, the strongest believed by at most 2 % beyond the next†, ageing by "
        "2 % in six weeks and 8 % in twelve†; capacity lies above that level by a one-sided gap, since runners "
        "train below what they can, or by the runner's own gap as the newest test showed it. A run whose watts by "
        "speed on the flat lie over 6 %† above those of the other runs is clipped. The hyperbola reads CP above "
        "the asymptote of Morton's form, so tests lower CP by 1 ± 0.9 %† and raise W′ to match. Days without running "
        "beyond the runner's usual longest gap g take s·16.5 %·(1 − e^(−d/22)) of what was known before, s 0.75 (0.45 "
        "to 1.1)†, or what age takes if that is more, never both; a day counts less where its last seven held other "
        "sports with a hard one among them, and not at all from two fifths of a usual week on; undone over as many "
        "days once a usual week was run again†. A test moves with what was lost, or came back, since its day. That "
        "capacity follows VO₂max here is assumed. Races entered by "
        "hand become watts by power at speed, with its error. A three-minute all-out test enters with a bias of "
        "+5 ± 6 %.",
        "P(t) = CP + W′/t for about 2 to 15 minutes",
        (
            "Hunter, Ledger & Muniz-Pumares 2023, IJSPP (habitual 281 W, trials 290 W, all-out 305 W).",
            "Drake, Finke & Ferguson 2023, doi:10.1007/s00421-023-05274-5 (where the hyperbola holds).",
            "Morton 1996, Ergonomics 39:611 (three-parameter form).",
            "Vanhatalo, Doust & Burnley 2007 (W′ of 16.0 ± 3.8 kJ at CP 287 ± 56 W: the prior of the shape).",
            "Coyle et al. 1984, J Appl Physiol 57:1857 (VO₂max −7 % after 12 days, −16 % after 84); Houmard et al. "
            "1992, doi:10.1055/s-2007-1024567 (−4.7 % after 14); Spiering et al. 2021, JSCR 35:1449 (what keeps it).",
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
    "load": Method(
        "Load of all activities",
        "CP-minutes of every activity by the best way that is there: running power, modelled power, cycling power, "
        "heart rate by your own line or your reserve, swimming speed, how hard it felt; of another sport at worst its "
        "time. Watts count with the device's slopes undone; walking counts as 45 % of CP at least; hills and hours add "
        "to what watts tell. Each way is held against the better one on your own days that have both, and days that "
        "share an error are added with it. "
        "A day of which nothing is known is missing, not rest. Running and all sports are two sums, never one score: "
        "what hurts legs is running. No weekly percentage is known to be safe, and none is shown as such.",
        "L = Σ x·e^(1.9·(x−1))·e^(h·climb + d·descent + q·ln(t/90)); exertion: 0.72·(E/5)^0.85 a minute; "
        "Var = Σ s²L² + shared errors",
        (
            "Retest variation of load by heart rate 15.6 % and by exertion 28.1 %: Wallace, Slattery, Impellizzeri, "
            "Coutts 2014, J Strength Cond Res 28:2330.",
            "Exertion times minutes follows heart rate, on a scale of its own: Foster et al. 2001, J Strength Cond Res "
            "15:109.",
            "A 10 % rule lowered no injuries in a trial: Buist et al. 2008, Am J Sports Med 36:33.",
            "The weights of hills, length, walking and exertion are our conventions†.",
        ),
    ),
    "response": Method(
        "How critical power follows load",
        "Each test alone gives a critical power. Three models foresee each test from those before it: a level that "
        "drifts; the same with a concave answer to the exponential mean of load; and one with fatigue besides. The "
        "answer is shown only where ten tests over 26 weeks exist, weeks differ, load foresees held-out tests by two "
        "nats better whichever is left out, the answer is much better known than before, memory and gain can be told "
        "apart, and simulated runners with the same dates and loads are covered. A high fit is no proof: published "
        "models fit with R² 0.8 while their constants span weeks.",
        "ln CP = level + k·ln((a + ā/4)/(5ā/4)), a: mean of load with memory τ; τ 35 d (14 to 85), k 6 ± 3 %",
        (
            "Modelled against measured performance of seven runners r 0.60 to 0.70: Wallace, Slattery, Coutts 2014, "
            "Eur J Appl Physiol 114:11.",
            "Parameters highly correlated, intervals of 17 to 59 d: Hellard et al. 2006, J Sports Sci 24:509.",
            "A second component adds no predictive ability: Marchal et al. 2025, Sci Rep 15.",
            "The conditions are our conventions†.",
        ),
    ),
    "signs": Method(
        "Signs that ask for a check",
        "Resting heart rate, heart rate at power, sleep, soreness and overnight variability over two days (unwell), "
        "or exertion above its load, soreness and sleep over a week (worn): each against the median of your month "
        "before, in your own spreads, summed. It takes two channels, one of them felt, and three weeks of days. "
        "Thresholds are set by simulation so that a healthy runner gets one false check in a half-year and pattern; "
        "then fourteen days are silent. Days after a race, ill days and runs in heat tell nothing. Where periods are "
        "told, what the fourteen days before one add in you is taken off the heart's channels; where a physician "
        "decides, these are left out. A check withholds nothing and "
        "diagnoses nothing: with one false check and six illnesses in ten seen, a third to a half of checks are "
        "illness. That nothing is said does not mean that all is well. Load alone fires nothing, no ratio of recent "
        "to older load is used anywhere, and no injury probability is shown.",
        "u = (mean of 2 or 7 days − median of 28) / own SD of such differences; score = Σu / √(n + 0.2·n(n−1))",
        (
            "Felt measures respond to load with more sensitivity than measured ones: Saw, Main, Gastin 2016, BJSM "
            "50:281.",
            "Acute respiratory illness 4.7 (3.9 to 5.7) in 1,000 athlete days: Derman et al. 2022, BJSM 56:630.",
            "Pulse 3.8 bpm higher in the middle of the second part of a cycle than at its beginning, 274 cycles of 91 "
            "women: Shilaih et al. 2017, Sci Rep 7:1294.",
            "No marker diagnoses overtraining: Meeusen et al. 2013, MSSE 45:186.",
            "A run beyond 110 % of the longest of thirty days: hazard ratio of overuse injury 1.64 (1.31 to 2.05) "
            "for 10 to 30 % more, 1.52 (1.16 to 2.00) to 100 %, 2.28 (1.50 to 3.48) beyond, in 5,205 runners: "
            "Schuster Brandt Frandsen et al. 2025, BJSM 59:1203.",
            "The ratio of recent to older load is an artefact of dividing: Impellizzeri et al. 2020, Sports Med; "
            "Lolli et al. 2019, BJSM 53:921.",
        ),
    ),
    "season": Method(
        "A season and its weeks",
        "Weeks are counted back from the race: weeks that build, weeks whose hard minutes are near the race's power, "
        "easier ones, and a taper in which volume falls exponentially by half, as hard as before, nearly as often. A "
        "week grows by 6 % over the last full one, at most by 10 %, never beyond 115 % of the best four weeks of the "
        "year; the longest run is at most a tenth longer than the longest of thirty days; 48 hours lie between hard or "
        "long sessions, nothing hard is two days before a race. These are bounds whatever is wished; a wish gives way "
        "as little as it must, and is named. A linear programme gives each week its load, hard minutes and longest "
        "run, a mixed-integer one puts sessions on days; the same question has the same answer. Each session is "
        "previewed: what you would not finish four days in five is made kinder or left out. What was run, missed and "
        "told in the diary changes the plan only once you accept it; a missed session is never added to another. No "
        "performance is predicted by it, and a taper adds nothing to a race plan: most tests behind the published "
        "gain were run rested.",
        "L_w ≤ 1.10·L of the last full week; longest ≤ 1.10·longest of 30 days; taper: ∫ = 0.5",
        (
            "Taper of two weeks, volume less by 41 to 60 %, intensity and frequency kept: Bosquet et al. 2007, MSSE "
            "39:1358. The published gain is about 3 % (0.5 to 6): Mujika and Padilla 2003, MSSE 35:1182.",
            "Runs beyond 110 % of the longest of thirty days were followed by more overuse injuries (hazard ratio 1.64 "
            "for 10 to 30 % more) in 5,205 runners; change from week to week had no relation: Schuster Brandt Frandsen "
            "et al. 2025, BJSM 59:1203.",
            "A 10 % rule lowered no injuries: Buist et al. 2008, Am J Sports Med 36:33. No weekly percentage is known "
            "to be safe.",
            "More load before a taper helped the tired and hurt the overreached: Aubry et al. 2014, MSSE 46:1769.",
            "Growth, ceiling, easier weeks, 48 hours and the steps after days off are our conventions†.",
        ),
    ),
    "cp-minutes": Method(
        "CP-minutes",
        "A load for a run: minutes weighted by intensity, so that one minute at CP counts 1.",
        "Σ x·e^(1.9·(x−1)) minutes, x = 30 s mean power / CP",
        ("The exponential weighting of the training impulse (Banister; Morton et al. 1990), applied to power†.",),
    ),
}
