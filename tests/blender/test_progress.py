import bpy
import pytest


@pytest.fixture
def bars(module, monkeypatch):
    """The parts that each job from now on has told of, by its title."""
    jobs, bars = module("addon.jobs"), {}

    def followed(job, context):
        begin(job, context)
        told, steps = bars.setdefault(job.title, []), job._steps

        def follow():
            while True:
                try:
                    step = next(steps)
                except StopIteration as end:
                    return end.value
                told.append(step.part)
                yield step

        job._steps = follow()

    begin = jobs.Job._begin
    monkeypatch.setattr(jobs.Job, "_begin", followed)
    return bars


@pytest.mark.nester
def test_the_bar_of_every_job_rises_and_never_falls(dome, bars, folder):
    obj, run, limits = dome(), bpy.ops.foamwright, bpy.context.scene.foamwright.cuts
    limits.strain_percent = 2.0
    run.suggest_seams()
    run.take_plan()
    run.complete_seams()
    run.find_pieces()
    run.where_to_cut()
    limits.strain_percent = 20.0
    run.removable_seams()
    obj.foamwright.plan.cuts[-1].wanted = True
    run.reckon_plan()
    run.flatten()
    run.export(directory=str(folder), kinds={"PDF_A4", "SVG", "JSON"})
    assert len(bars) == 8
    for title, told in bars.items():
        assert told == sorted(told), title
        assert told[0] == 0, title
        assert told[-1] <= 1, title
    for title in ("Suggesting seams", "Looking for seams that could go", "Flattening"):
        assert bars[title][-1] > 0.9, title
