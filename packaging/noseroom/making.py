"""What to make and what to buy for a nose: asked for by hand, and apart from its verdict."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from noseroom.pipeline import Progress, Session, earlier, silent, written
from noseroom.shelf import usual_folder
from noseroom.threads import one_thread

if TYPE_CHECKING:
    from noseroom.findings import Finding
    from noseroom.workshop.bench import Bench


def make(
    path: str | Path,
    *,
    outputs: str | Path,
    progress: Progress | None = None,
    files_from: Sequence[str | Path] = (),
    remark: Callable[[str], None] = warnings.warn,
    elements: bool = False,
) -> Bench:
    """Write the files for the bench that an envelope file asks for.

    They go into "workshop" in the folder that `check` writes; where that does not hold the answer
    for the same file yet, it is written first. The page there then lists what is to be made. A
    later check that finds anything changed takes it all away with what else stood there.
    elements: check the brackets' strength by finite elements too.

    Raises EnvelopeError for a file that cannot be used, NothingToMakeError where there is nothing
    to make, OutputError when the outputs cannot be written.
    """
    say = progress or silent
    session = Session(path, files_from=files_from, cache=usual_folder(), remark=remark)
    asked = session.read()
    folder = Path(outputs) / asked.envelope.stem
    from noseroom.workshop.bench import FOLDER, Share, before_metal, write_bench
    from noseroom.workshop.bench_makers import make_brackets
    from noseroom.workshop.mock_up_files import make_cards, make_prints, make_trial_brackets
    from noseroom.workshop.page_update import list_on_page
    from noseroom.workshop.spacer_files import make_spacers, plan_spacers
    from noseroom.workshop.whole_folder import demand_writable

    demand_writable(folder / FOLDER)
    result = earlier(folder, asked.digest) or written(session, asked, folder, say)
    nose = session.nose(asked, say)
    with one_thread():
        brackets = session.brackets(nose, say)
        planned = plan_spacers(nose.layout, result.findings)
        spacers = planned.spacers
        title = asked.envelope.title
        bench = write_bench(
            folder,
            [
                lambda _: Share(remarks=before_metal(result.verdict)),
                lambda fresh: make_brackets(
                    brackets,
                    nose.layout,
                    fresh,
                    say if elements else None,
                    before_metal(result.verdict),
                ),
                lambda fresh: make_spacers(planned, fresh),
                lambda fresh: make_trial_brackets(brackets, asked.envelope.shop, fresh),
                lambda fresh: make_prints(nose.layout, spacers, say, fresh),
                lambda fresh: make_cards(nose.layout, spacers, say, fresh),
            ],
            title,
        )
        list_on_page(result, bench, folder)
    return bench


@dataclass(frozen=True)
class Advice:
    """What to buy. cautions: of pressure, heat and current, which stand once beside all of it.

    names: files that were written, below the nose's own folder.
    """

    findings: tuple[Finding, ...]
    cautions: tuple[str, ...]
    names: tuple[str, ...] = ()


def choices(
    path: str | Path,
    *,
    outputs: str | Path | None = None,
    progress: Progress | None = None,
    files_from: Sequence[str | Path] = (),
    remark: Callable[[str], None] = warnings.warn,
) -> Advice:
    """What to buy for the A/C: condenser and fan by size, hoses, refrigerant, wires and fuses.

    Every size that is sold is put into the nose and tried there. There is nothing to say of a file
    that does not ask for air and heat with `cooling`. outputs: where given, pictures and a table go
    into "choices" in the folder that `check` writes there, and all of it onto the page; where that
    does not hold the answer for the same file yet, it is written first.

    Raises EnvelopeError for a file that cannot be used, OutputError when the outputs cannot be
    written.
    """
    say = progress or silent
    session = Session(path, files_from=files_from, cache=usual_folder(), remark=remark)
    asked = session.read()
    from noseroom.checks.condenser_choice_all import check_choices
    from noseroom.checks.pairs import Pairs
    from noseroom.checks.rules import Rules
    from noseroom.report import page_choices
    from noseroom.workshop.choices_files import FOLDER, write_choices
    from noseroom.workshop.page_update import put_on_page
    from noseroom.workshop.whole_folder import demand_writable

    folder = None if outputs is None else Path(outputs) / asked.envelope.stem
    if folder is not None and asked.envelope.cooling is not None:
        demand_writable(folder / FOLDER)
    nose = session.nose(asked, say)
    with one_thread():
        pairs = Pairs(nose.layout, memo=session.memo)
        found, findings = check_choices(pairs, Rules(nose.layout.envelope), say)
    if found is None or not findings:
        return Advice((), ())
    if folder is None:
        return Advice(findings, found.cautions)
    result = earlier(folder, asked.digest) or written(session, asked, folder, say)
    files = write_choices(folder, found, nose.layout)
    told = page_choices.to_buy(findings, found.cautions, files.pictures, files.names)
    put_on_page(result, page_choices.IDENT, told, folder)
    return Advice(findings, found.cautions, files.names)
