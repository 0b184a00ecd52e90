"""The tables of ``RESULTS.md`` printed anew: ``python -m tests.benchmarks results [--only NAME]``.

Each command of `TABLES` runs by itself on one core; its table takes the place of the last one in
``RESULTS.md`` as soon as it is there, with the command, the seeds, the day and the commit. All of
them take hours; ``--only accuracy,audit`` prints those of some commands.
"""

from __future__ import annotations

import datetime as dt
import os
import resource
import shlex
import subprocess
import sys
from argparse import ArgumentParser
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from tests.faults.record import write_section

__all__ = ["PAGE", "TABLES", "Printed", "main"]

PAGE = Path(__file__).with_name("RESULTS.md")
ROOT = Path(__file__).resolve().parents[2]


@dataclass(frozen=True)
class Printed:
    """A table of the page: its heading, the benchmark's arguments, and how to read it."""

    title: str
    arguments: str
    about: str

    @property
    def name(self) -> str:
        """The benchmark that prints it."""
        return self.arguments.split()[0]

    @property
    def seeds(self) -> str:
        """The seeds that its shops are made from, in words; empty where there are no shops."""
        words = shlex.split(self.arguments)
        if "--shops" not in words:
            return ""
        many = int(words[words.index("--shops") + 1])
        at = words.index("--first-seed") + 1 if "--first-seed" in words else None
        first = 0 if at is None else int(words[at])
        return f"seed {first}" if many == 1 else f"seeds {first} to {first + many - 1}"


TABLES = (
    Printed(
        "Panels left out",
        "accuracy --shops 20 --folds 2 --only film",
        "Median ΔE00 between what was predicted and what was read, on panels, recipes, pairs "
        "and grounds that the regression has not seen, and how many of them lie inside its "
        "50, 80, 90 and 95 % regions, with the standard error by how much shops differ. One "
        "panel differs from its own recipe by the repeatability: that is the floor of the "
        "medians. That of the worst shop stands in brackets: what chance makes of so many "
        "shops, were every region right to the letter, in the middle and one time in twenty. "
        "Panels of one pair or one ground miss together, for what is not known of it is one "
        "thing for all of them, so the worst of twenty lies far from the mean. Two folds of "
        "each split are left out in each shop."
        "\n\nTwo shares of the booth and five of `spray` lie more than four points and two "
        "standard errors off: of blends of grounds never read the booth's two narrowest "
        "regions hold 42 and 73 %; of blends of colours `spray` has regions too wide, for "
        "what physics cannot rule out is more than that simulator does, and of its stronger "
        "films the narrowest region holds 38 instead of 50. No worst shop lies beyond what "
        "chance passes one time in twenty. Of twenty other shops of each (seeds 20 to 39) "
        "twelve shares lie so far off, above all stronger films (37, 70, 85 and 93 %, in the "
        "booth 40, 74, 85 and 90) and `spray`'s pairs (43, 74, 84 and 91), and one shop's "
        "pairs over a solid white hold 25 %. In `spray` stronger films miss their noise-free "
        "recipe by twice the variance that is stated for it, while strong films left out of "
        "the others, one colour's or all colours', ask for 0.9 to 1.6 times what the law has: "
        "what goes wrong beyond all that was sprayed is not seen within it. To learn of it "
        "from the strongest of all colours at once, and from the richest mixes, moved 38 % to "
        "41 and the booth's 51 to 55, and was not kept."
        "\n\nThat the others hold came of two things. Each ground sends some share of its light "
        "under the surface at all angles, as what a film scatters is: flake little, a solid "
        "nearly all; before, it had an internal reflectance of its own. And what the surface "
        "keeps runs at a slant, so its way through the film is longer (Williams and Clapper "
        "1953), by how much is learnt. In eight booths pairs never sprayed were missed by "
        "1.09 on average before, by 1.11 with shares alone, and by 0.96 with both; their 90 % "
        "regions held 82, 84 and 88 %, and the worst shop's 63, 74 and 73. A blend of grounds "
        "never read lies between them by a share of which nothing is known (Jeffreys): "
        "before, any was as likely, and 83 % lay in such a region of the booth."
        "\n\nTried and not kept: the longer way without the shares, for which papers kept apart "
        "were missed by 2.3 instead of 1.6; the surface's part of diffuse light free under a "
        "clear coat, whose product with the shares left a ridge along which one reading of a "
        "card moved both; a shop's mean share believed as wide as one ground's, by which a "
        "solid told too much of flake (grounds never sprayed on of young booths 2.8 instead "
        "of 2.2), and none, which cost `spray` a twentieth. Nor, for colours over darker "
        "grounds than they were sprayed on, all the scatter that is believed before any "
        "panel, which made `spray` three to ten times too wide there; a scatter as the square "
        "of a number, which is no surer of none; a kind of reach for grounds lighter or "
        "darker than all others of a colour."
        "\n\nGone, for nothing measured was nearer for them by more than chance: a slope by the "
        "mix ratio of each colour's own, and a trend from coat to coat. "
        "Without them the mean misses of twenty shops of `spray` and of the booth are as before "
        "(pairs 0.82 → 0.84 and 0.77 → 0.76, stronger films 0.75 → 0.77 and 0.93 → 0.96, grounds "
        "1.00 and 1.85 → 1.86), and papers of the first four, left out, are nearer: by 1.2 instead "
        "of 1.5 (medians).",
    ),
    Printed(
        "Panels left out, beside general regressors",
        "accuracy --shops 2 --only film,gp,ridge,nearest",
        "Median ΔE00 between what was predicted and what was read, of all folds of two shops. What "
        "regions of the film regression hold stands in the table above.",
    ),
    Printed(
        "Two geometries in one archive",
        "accuracy --shops 6 --first-seed 30 --layout 90 --sphere --folds 2 --only film "
        "--splits panel,ground,fresh",
        "Every other panel was read by a sphere with the gloss included (di:8), the others by "
        "45:0; fresh ones are read by 45:0.",
    ),
    Printed(
        "Whether chances come true",
        "chances --shops 20 --targets 12",
        "Of panels really sprayed, by fifths of the chance stated, of full archives, of young ones "
        "(18 panels over two grounds of five), and of thin ones (one to three weak coats). The "
        "targets are samples that the shop itself sprayed, as they read. A chance that supposes "
        "nothing of where a sample comes from is too low for them where little is known; the "
        "other is of a sample of the shelf, as these are. The ± is the standard error by how few "
        "the targets are; that there are few shops comes on top.",
    ),
    Printed(
        "Whether chances come true after a correction",
        "chances --shops 8 --targets 12 --corrected",
        "Of samples again, once the likeliest recipe of each was sprayed and read.",
    ),
    Printed(
        "Whether chances come true of targets moved at random",
        "chances --shops 3 --targets 12 --layouts young --off 1.5",
        "Each sample moved at random by ΔE*ab 1.5 an axis, so that it is none of the shelf: here "
        "the chance that supposes nothing is the one to go by.",
    ),
    Printed(
        "Whether chances come true of shops that the fit believes in",
        "chances --shops 6 --targets 12 --own",
        "Were the law and its spread right to the letter: shops drawn from what the fit believes. "
        "What is left between the chance for samples of the shelf and the real share is counting "
        "and what taking the law as linear costs: the floor of the tables above.",
    ),
    Printed(
        "Test panels sprayed until one matches",
        "panels --shops 4 --targets 60 --variants full,young --only corrected,film,nearest,gp",
        "Mean panels until one reads within the tolerance of the target, at most ten each. Small "
        "differences between so few targets are chance. The physical floor knows the physics and "
        "not the noise: it is the best that anyone could do without correcting.",
    ),
    Printed(
        "One card, read on its way and built on",
        "cards --shops 2 --targets 16 --only \"two looks,blind,floor of two looks,painter's rule,"
        'nearest,gp"',
        "Two looks at a card and the one that judges it, beside cards sprayed blind and corrected, "
        "and other ways. A share is given with its standard error by chance. Two chances are "
        "stated: one that supposes nothing of where the sample comes from, and one of a sample "
        "that was itself sprayed from the shelf. These targets are what the shelf would give "
        "without any noise, which are met a little more often than such samples (below). The "
        "floor knows the physics, what stands open today and how much films vary, but no card's "
        "own film before it is read; it does not depend on the archive (what it costs that a "
        "young one knows little stands under the floor of chances, below). In the booth it fails "
        "over black, where what the judging instrument reads varies by as much as is allowed. All "
        "ways begin with the same draws of noise, so the same luck.",
    ),
    Printed(
        "One card, of more targets",
        'cards --shops 8 --first-seed 2 --targets 64 --only "two looks,floor of two looks"',
        "The first and third row of the table above, of other shops.",
    ),
    Printed(
        "One card, of samples as they read",
        "cards --shops 24 --first-seed 2 --targets 192 --samples "
        '--only "two looks,floor of two looks"',
        "The same eight shops and sixteen more, and samples of them once sprayed and read, each "
        "with the film, the ground and the reading that it happened to get: what a customer "
        "brings, and what the chance of the shelf's own is a chance of.",
    ),
    Printed(
        "One card, and something is wrong",
        "cards --shops 2 --targets 12 --variants wrong,heavy,photo,uncleared,young-uncleared "
        '--only "two looks,blind,floor of two looks"',
        "Full archives with 5 % wrong backs; a sprayer who lays 15 % more; looks by photographs; "
        "looks before a clear coat of which nothing is known at first, of full archives and young. "
        "Each beside its own floor: of photographs it does not know the noise, of an unknown "
        "clear coat it knows what that does.",
    ),
    Printed(
        "The floor of chances stated for a card",
        'cards --shops 8 --targets 48 --own --only "two looks"',
        "Shops drawn from what the fit believes, so that its law and its spread are right to the "
        "letter. What is left between the chance that supposes nothing and what comes of it is "
        "what a colour of the very shelf tells: that no hue is off. So many cards, and so many "
        "that never pass, is what it costs that a young archive knows little.",
    ),
    Printed(
        "One card, its target moved at random",
        'cards --shops 2 --targets 12 --variants young --most 1 --off 1.5 --only "two looks"',
        "Targets of the simulators, each moved by ΔE*ab 1.5 an axis: no colours of the shelf.",
    ),
    Printed(
        "A panel built on as advised",
        "rescue --shops 2 --panels 15",
        "Each panel really continued ten times, against the chance stated.",
    ),
    Printed(
        "Six panels more, as advised",
        "next --shops 30",
        "Predictions of fresh recipes by young archives before and after six more panels: those "
        "advised, six at random, six that fill the space evenly, which is the plainest design "
        "there is. Means over the shops; of ten of them alone the gain over filling is as often "
        "seven per cent as thirty.",
    ),
    Printed(
        "What is out of reach",
        "reach --shops 2 --first-seed 10",
        "What is said of targets that the shelf can make, and of targets beyond it. Of a young "
        "shop three of whose grounds were never sprayed on, nobody can tell by 3 ΔE00 what it "
        "reaches; the last table says whether the chances stated come true.",
    ),
    Printed(
        "The audit of small archives",
        "audit --shops 32 --panels 20",
        "Wrong backs seeded in fresh archives, found by how far they move the colour. What moves "
        "it by less than ΔE00 2 lies within what panels of one recipe differ by. Of twenty panels "
        "five or six are of one colour: two wrong ones hide each other, and one that alone shows "
        "a corner bends the law that is to judge it.",
    ),
    Printed("The audit of larger archives", "audit --shops 4 --panels 60 133", "The same."),
    Printed(
        "What panels share",
        "shared --shops 6 --first-seed 10 --targets 8 --known nothing lot date all",
        "What is gained when the fit is told who sprayed, from which lots, and when, on panels "
        "sprayed now in the booth simulator, each colour's lots rising from 15% weaker to 15% "
        "stronger. Targets are samples that the shop sprayed, and both chances are given. Panels "
        "of one day differ by less than is stated, which counts every hand alike and that a lot "
        "may have drifted since the last panel: that keeps the chances stated under the real ones.",
    ),
    Printed(
        "What panels share, chosen by panels left out",
        "shared --shops 4 --first-seed 20 --targets 0 --trend 0 --layout young --known all chosen",
        "Young archives whose lots do not drift, where an effect is hardest to tell from chance: "
        "how large each is left to the fit, and only those kept without which panels left out are "
        "less likely. The two differ by no more than chance, so the fit does not choose.",
    ),
    Printed(
        "Measured dye and inks",
        "real",
        "None of it is sprayed; printed dots bend the law, and the library's regression takes "
        "part of what they bend. Data and licences stand in `tests/data`. The inks of two papers "
        "were kept apart from all settling.",
    ),
    Printed(
        "Oil paints over a white and a black chart",
        "real --of paints",
        "A glaze known over white is met over black. From black to white nobody can tell: most of "
        "the light read over black is gloss, and of one glaze less comes back in all (0.033) than "
        "the law takes for gloss alone (0.04). All rows are from the same spectra; the law and "
        "the library's process alone stand beside the film. The Gaussian process and the ridges "
        "know the paints apart, of which three glazes look alike. Paints that scatter are beyond "
        "the law; the library is surer of them and farther off, and since no such share of it is "
        "taken the film misses them over white by 14 instead of 24.",
    ),
    Printed(
        "Time and memory of a fit",
        "scale --shops 1 --only film",
        "The processor's own time on one core.",
    ),
    Printed(
        "Refits and searches by the thousand",
        "many --simulator spray",
        "One fit and one search are measured, by the processor's seconds; so many of them on the "
        "largest archive are reckoned from these. What a second worker gains is by the clock, and "
        "nothing where other work holds the cores: the load is told beside it. Four workers are "
        "reckoned to lose as much by the second doubling.",
    ),
    Printed(
        "A match as a process",
        "commands",
        "On a fit that is kept, loading and all; the libraries alone are the floor, and the rows "
        "before it tell what it is made of, each with Python. What a card sprayed blind takes "
        "beyond the modules is the target read, the fit and the archive loaded, and the search; "
        "the last row adds the plan of its readings. Busy cores make all rows longer alike, so "
        "compare them with the floor.",
    ),
    Printed(
        "Commands on large archives",
        "archive --panels 100000",
        "Each in a process of its own: the processor's own time on one core, and the most memory. "
        "Recipes and readings are drawn at random, for it is the archive that is measured.",
    ),
    Printed(
        "Recipes searched a second",
        "search --shops 1 --targets 2",
        "The scan of all recipes, beside the exponentials alone, which are its floor, and other "
        "ways to search. A series of polynomials in place of most recipes' exponentials saved a "
        "tenth of a second in a million recipes of `spray` and lost as much in the booth, so that "
        "each is worked out by itself.",
    ),
)


def _git(*words: str) -> str:
    done = subprocess.run(["git", *words], cwd=ROOT, capture_output=True, text=True, check=True)
    return done.stdout.strip()


def _print(table: Printed, commit: str) -> None:
    environment = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks", *shlex.split(table.arguments)],
        cwd=ROOT,
        env=environment,
        stdout=subprocess.PIPE,
        text=True,
        check=True,
    )
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    minutes = (after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime) / 60
    seeds = f", {table.seeds}" if table.seeds else ""
    how = (
        f"By `python -m tests.benchmarks {table.arguments}`{seeds}, on {dt.date.today()} at commit "
        f"{commit}, in {minutes:.1f} min of one core."
    )
    text = f"{table.about}\n\n{how}\n\n{done.stdout.strip()}"
    write_section(table.title, text, page=PAGE)
    print(f"{table.title}: {minutes:.1f} min", flush=True)


def main(argv: Sequence[str] | None = None) -> None:
    """Print the tables of the page, or those of some commands, one after another."""
    parser = ArgumentParser(prog="python -m tests.benchmarks results", description=__doc__)
    parser.add_argument("--only", default="", help="comma list of benchmarks, as `panels,audit`")
    only = [name for name in parser.parse_args(argv).only.split(",") if name]
    unknown = set(only) - {t.name for t in TABLES}
    if unknown:
        parser.error(f"no table is printed by {', '.join(sorted(unknown))}")
    changed = _git("status", "--porcelain", "--", "matchlib", "tests/benchmarks/*.py")
    commit = _git("rev-parse", "--short", "HEAD") + (" with changes" if changed else "")
    for table in TABLES:
        if not only or table.name in only:
            _print(table, commit)
