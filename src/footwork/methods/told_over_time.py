"""Methods: progress, trials, brick runs, conditions and cautions."""

from __future__ import annotations

from footwork.methods.entry import Method

TOLD: dict[str, Method] = {
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
    "side-by-side": Method(
        "Runners side by side",
        "Each figure is a runner's own, with its own interval: usual running and W′ over their critical power (errors "
        "taken as independent), what the tail of the curve loses by doubling a time (γ·ln 2), speed at critical power, "
        "heart rate gained in an hour, the season's change, load. Watts and watts by mass are shown only where all "
        "devices are of one kind of which it is known how alike two are, and then hold what such devices differ by "
        "(foot sensors 5 %†, the physics model 3 %†, one standard deviation); else they are refused.",
        "",
        ("Between foot sensors: our convention, as for power at speed of an unknown sensor.",),
    ),
    "squad": Method(
        "A squad's lines",
        "A line is what the runner's own pages say, as known today. The load of seven days is called above or below "
        "usual only where its whole interval lies outside the middle half of usual weeks. Why one looks there first is "
        "a list of things that are so, the most pressing first†: not now; a check by the signs; no run for longer than "
        "usual; a race within ten days†; two sessions of the week not run†; changes that wait; a device that jumped; "
        "back from weeks off; load above usual; an unusual run. It is no measure of risk. Of the diary it shows what "
        "the runner shares; whoever is ill, injured, returning or under a physician's word is asked nothing hard "
        "all the same.",
        "",
        ("The order is our convention; no source.",),
    ),
    "squads-priors": Method(
        "Priors that a squad tells",
        "Each tested runner's posterior of ln(W′/CP) and of the logarithm of the tail is freed of the literature's "
        "prior; those as wide as the prior (95 %†) tell nothing and do not count. From twenty on, a mean and a spread "
        "between runners follow by random effects, and are averaged with the literature's, which counts as twenty "
        "runners†. Nothing changes until the coach switches it on; then every capacity says so. Heart rate's prior is "
        "not learned, since the eight runs that a season needs tell its slope far better than any prior. Nor is that "
        "of descents: a speed downhill tells only how hard it was run over what it cost, and what a whole squad shares "
        "of the one would be taken for the other.",
        "prior = n/(n+20)·squad + 20/(n+20)·literature",
        ("DerSimonian & Laird 1986, Controlled Clinical Trials 7:177 (random effects).",),
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
