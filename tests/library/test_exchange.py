"""Data packages and press tables: judged by frictionless, Polars, DuckDB and pandas.

Exact (a round trip gives the same tables), and each broken package is refused in one line.
"""

import csv
import hashlib
import json
from dataclasses import replace

import duckdb
import frictionless
import pandas as pd
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented_takes import LAG_SETUP, LAG_STUDY, measured_take, write_clip

from blinkspan.errors import BadPackage, BadSetting, BlinkspanError, LibraryConflict, NotInLibrary
from blinkspan.jobs.exchange import export_study, import_study, validate, write_presses
from blinkspan.library import Library
from blinkspan.library.check import check
from blinkspan.library.findings import Weight
from blinkspan.library.runs import Inputs
from blinkspan.presses.correction import Corrects
from blinkspan.presses.press import Verdict
from blinkspan.profiles import CameraProfile, DisplayProfile
from blinkspan.publish.data_package import read_package, write_package
from blinkspan.publish.package_tables import STUDY, TABLES
from blinkspan.quantities import Measured
from blinkspan.study.setup import Conditions, Setup
from blinkspan.traces.regions import Rectangle, Regions


def fill(library, tmp_path):
    """Use whatever a package has to carry, awkward texts included."""
    library.keep_display("panel one", DisplayProfile(Measured(0.0123, 1 / 3), 119.88, None), "ü")
    library.keep_camera("camera one", CameraProfile(None, Measured(0.0031, 0.0002)))
    odd = Conditions(spot='a "quoted", line\nand\r\nmore \u2028 end', notes="=1+1", title=" x ")
    library.add_setup(LAG_STUDY.name, Setup("odd", odd, "panel one", "camera one", ("b, c", "a")))
    setup = library.setup(LAG_STUDY.name, LAG_SETUP.name)
    for seed in (1, 2):
        clip = write_clip(tmp_path / f"{seed}.mp4", seed)
        take = library.add_take(clip, setup).take
        inputs = Inputs("0.1.0", {"capture_rate_hz": 240.0}, None, "panel one", None, "camera one")
        library.keep_run(take, measured_take(clip, seed, presses=6), inputs)
    library.keep_regions(take, Regions(Rectangle(1, 2, 3, 4), None, Rectangle(5, 6, 7, 8)), "Ida")
    library.keep_run(take, measured_take(clip, 9), inputs)
    press = library.presses(take=take)[1]
    by = {"by": "Ida", "why": "seen, on the\nframes"}
    library.correct(press.id, Corrects.LAMP_ON, to=Measured(0.29, 0.001), **by)
    said = library.correct(press.id, Corrects.VERDICT, verdict=Verdict.REJECTED, **by)
    library.undo(said, by="Ole")


def comparable(tables):
    """Return tables without what belongs to one library alone: its keys, its copies of clips."""
    own = {
        "id",
        "study_id",
        "setup_id",
        "take_id",
        "region_set_id",
        "run_id",
        "press_id",
        "display_profile_id",
        "camera_profile_id",
        "undoes_id",
        "keeping",
        "source",
        "revision",
        "region_set",
        "run",
        "press",
        "undoes",
        "state",
        "still_sha256",
        "still_panel",
    }
    return {
        name: [{key: row[key] for key in row if key not in own} for row in rows]
        for name, rows in tables.items()
    }


def standing(library):
    return [
        (kept.press, kept.measured, len(kept.corrections), kept.lamp_on_frame)
        for kept in library.study(LAG_STUDY.name).presses()
    ]


def test_a_study_goes_out_and_into_another_library_without_loss(library, tmp_path):
    fill(library, tmp_path)
    assert export_study(library.folder, LAG_STUDY.name, tmp_path / "package") == 16
    with Library.init(tmp_path / "other") as other:
        other.add_study(replace(LAG_STUDY, name="in the way of the keys"))
        assert import_study(other.folder, tmp_path / "package") == LAG_STUDY.name
        assert comparable(other.tables(LAG_STUDY.name)) == comparable(
            library.tables(LAG_STUDY.name)
        )
        assert standing(other) == standing(library)
        glances = other.study(LAG_STUDY.name).overview()
        for there, here in zip(glances, library.study(LAG_STUDY.name).overview(), strict=True):
            assert replace(there, setup=here.setup) == here
        assert [f.text for f in check(other) if f.weight is not Weight.NOTE] == []
        # and once more from there: the files are the same, byte for byte
        export_study(other.folder, LAG_STUDY.name, tmp_path / "again")
        for file in sorted((tmp_path / "package" / "data").iterdir()):
            if file.stem in ("study", "setup", "take", "display", "camera"):
                assert (tmp_path / "again" / "data" / file.name).read_bytes() == file.read_bytes()


def test_frictionless_finds_no_fault(library, tmp_path):
    fill(library, tmp_path)
    export_study(library.folder, LAG_STUDY.name, tmp_path / "package")
    report = frictionless.validate(str(tmp_path / "package" / "datapackage.json"))
    assert report.flatten(["name", "message"]) == []
    assert report.stats["tasks"] == len(TABLES)
    assert validate(tmp_path / "package") == []
    with frictionless.Package(str(tmp_path / "package" / "datapackage.json")).get_resource(
        "press"
    ) as table:
        spans = [row["span_s"] for row in table.row_stream]
    kept = [row["span_s"] for row in library.tables(LAG_STUDY.name)["press"]]
    assert [float(span) for span in spans] == kept


def test_frictionless_sees_what_was_broken(library, tmp_path):
    fill(library, tmp_path)
    export_study(library.folder, LAG_STUDY.name, tmp_path / "package")
    edit(tmp_path / "package", "press", lambda text: text.replace("accepted", "accepted,1", 1))
    assert any("press: " in fault for fault in validate(tmp_path / "package"))


def test_the_clips_follow_when_their_files_are_added(sqlite_library, tmp_path):
    fill(sqlite_library, tmp_path)
    export_study(sqlite_library.folder, LAG_STUDY.name, tmp_path / "package")
    with Library.init(tmp_path / "other") as other:
        import_study(other.folder, tmp_path / "package")
        take = other.takes()[0]
        with pytest.raises(NotInLibrary, match="is not in this library; add the file"):
            other.clip(take)
        setup = other.setup(LAG_STUDY.name, LAG_SETUP.name)
        added = other.add_take(tmp_path / "1.mp4", setup)
        assert (added.take.id, added.new) == (take.id, False)
        assert other.clip(added.take).read_bytes() == (tmp_path / "1.mp4").read_bytes()


cells = {
    "name": st.text(max_size=20),
    "question": st.text(max_size=50),
    "notes": st.text(max_size=50),
    "made_at": st.datetimes(timezones=st.just(__import__("datetime").UTC)),
}


@settings(deadline=None)  # it writes files: a busy disk is no fault
@given(st.fixed_dictionaries(cells))
def test_any_text_and_moment_come_back(tmp_path_factory, row):
    folder = tmp_path_factory.mktemp("p") / "package"
    tables = {schema.name: [] for schema in TABLES} | {STUDY.name: [row]}
    write_package(folder, tables, "t", "p")
    assert read_package(folder)["study"] == [row]


def edit(package, table, change, true_hash=True):
    """Change a table as a stranger would, with a hash that fits where asked."""
    path = package / "data" / f"{table}.csv"
    path.write_text(change(path.read_text(encoding="utf-8")), encoding="utf-8", newline="")
    descriptor = package / "datapackage.json"
    said = json.loads(descriptor.read_text(encoding="utf-8"))
    for resource in said["resources"]:
        if resource["name"] == table and true_hash:
            resource["hash"] = "sha256:" + hashlib.sha256(path.read_bytes()).hexdigest()
            resource["bytes"] = path.stat().st_size
    descriptor.write_text(json.dumps(said), encoding="utf-8")


def described(change):
    def act(package):
        path = package / "datapackage.json"
        said = json.loads(path.read_text(encoding="utf-8"))
        change(said)
        path.write_text(json.dumps(said), encoding="utf-8")

    return act


BROKEN = {
    "no descriptor": (lambda p: (p / "datapackage.json").unlink(), "holds no datapackage.json"),
    "not JSON": (lambda p: (p / "datapackage.json").write_text("{"), "is not JSON"),
    "JSON of another kind": (
        lambda p: (p / "datapackage.json").write_text("[1]"),
        "no package of blinkspan",
    ),
    "another program's": (described(lambda d: d.pop("blinkspan")), "no package of blinkspan"),
    "a later format": (
        described(lambda d: d["blinkspan"].update(format="blinkspan-study/9")),
        "study/9",
    ),
    "a table missing": (described(lambda d: d["resources"].pop()), "has no table 'correction'"),
    "no schema": (described(lambda d: d["resources"][3].pop("schema")), "has no schema"),
    "a broken schema": (
        described(lambda d: d["resources"][3]["schema"]["fields"][1].update(type="date")),
        "schema of the table 'setup' differs at 'platform'",
    ),
    "a column short": (
        described(lambda d: d["resources"][3]["schema"]["fields"].pop()),
        "differs at 'made_at'",
    ),
    "changed bytes": (lambda p: edit(p, "take", str.upper, False), "was changed since"),
    "a file missing": (lambda p: (p / "data" / "run.csv").unlink(), "cannot be read"),
    "a word for a number": (
        lambda p: edit(p, "press", lambda t: t.replace(",0.0004,", ",soon,", 1)),
        "press.csv line 2: lamp_on_u_s is 'soon', not a value of type number",
    ),
    "not a number": (
        lambda p: edit(p, "press", lambda t: t.replace(",0.0004,", ",nan,", 1)),
        "is 'nan'",
    ),
    "a cell too many": (lambda p: edit(p, "study", lambda t: t.replace("\n", ",1\n", 2)), "study"),
    "a head of its own": (lambda p: edit(p, "study", lambda t: "x" + t), "not the columns"),
    "another verdict": (
        lambda p: edit(p, "press", lambda t: t.replace("doubtful", "dubious", 1)),
        "'dubious'",
    ),
    "a result improved by hand": (
        lambda p: edit(p, "press", lambda t: t.replace("doubtful,weak response", "accepted,", 1)),
        "is not what was measured",
    ),
    "a take of no setup": (
        lambda p: edit(p, "take", lambda t: t.replace("Corvid 60 wired", "nothing", 1)),
        "names a setup 'nothing'",
    ),
    "a key twice": (
        lambda p: edit(p, "setup", lambda t: t.replace("odd", "Corvid 60 wired", 1)),
        "key twice",
    ),
    "two studies": (
        lambda p: edit(p, "study", lambda t: t + t.splitlines(True)[1].replace("night", "day")),
        "holds 2 studies",
    ),
}


@pytest.fixture(scope="module")
def whole_package(tmp_path_factory):
    place = tmp_path_factory.mktemp("whole")
    with Library.init(place / "results") as library:
        library.add_study(LAG_STUDY)
        library.add_setup(LAG_STUDY.name, LAG_SETUP)
        fill(library, place)
        return library.tables(LAG_STUDY.name)


@pytest.mark.parametrize("kind", BROKEN)
def test_a_broken_package_is_refused_in_one_line(sqlite_library, whole_package, tmp_path, kind):
    breaking, word = BROKEN[kind]
    package = tmp_path / "package"
    write_package(package, whole_package, "t", "p")
    breaking(package)
    before = sqlite_library.studies()
    with pytest.raises(BadPackage) as told:
        import_study(sqlite_library.folder, package)
    assert word in str(told.value)
    assert "\n" not in str(told.value)
    assert sqlite_library.studies() == before
    assert sqlite_library.takes() == ()


def test_what_the_library_holds_already_is_not_taken_in_again(sqlite_library, tmp_path):
    fill(sqlite_library, tmp_path)
    export_study(sqlite_library.folder, LAG_STUDY.name, tmp_path / "package")
    with pytest.raises(LibraryConflict, match="study named 'harbour at night' is kept already"):
        import_study(sqlite_library.folder, tmp_path / "package")
    (kept,) = sqlite_library.studies()
    sqlite_library.edit_study(kept, replace(LAG_STUDY, name="another"))
    with pytest.raises(LibraryConflict, match=r"take '1.mp4' of the package is kept here already"):
        import_study(sqlite_library.folder, tmp_path / "package")
    with Library.init(tmp_path / "other") as other:
        other.keep_display("panel one", DisplayProfile(Measured(0.5, 0.1)))
        with pytest.raises(LibraryConflict, match="'panel one' is kept here with other values"):
            import_study(other.folder, tmp_path / "package")
        assert other.studies() == ()
    with pytest.raises(BlinkspanError, match="is there already; name a new folder"):
        export_study(sqlite_library.folder, "another", tmp_path / "package")


# presses as tables


def test_parquet_is_read_back_by_polars_and_by_duckdb(library, tmp_path):
    fill(library, tmp_path)
    target = tmp_path / "presses.parquet"
    count = write_presses(library.folder, LAG_STUDY.name, target)
    columns = library.study(LAG_STUDY.name).columns()
    by_polars = pl.read_parquet(target)
    assert by_polars.to_dict(as_series=False) == columns
    assert by_polars.schema["span_ms"] == pl.Float64
    assert by_polars.schema["reason"] == pl.String
    query = f"SELECT count(*), count(net_ms), sum(span_ms) FROM '{target}'"
    (by_duckdb,) = duckdb.sql(query).fetchall()
    assert by_duckdb[:2] == (count, count)
    assert by_duckdb[2] == pytest.approx(sum(columns["span_ms"]), rel=1e-12)


def test_csv_and_json_hold_the_same(library, tmp_path):
    fill(library, tmp_path)
    columns = library.study(LAG_STUDY.name).columns()
    for name in ("presses.csv", "presses.json"):
        write_presses(library.folder, LAG_STUDY.name, tmp_path / name)
    rows = json.loads((tmp_path / "presses.json").read_text(encoding="utf-8"))
    assert {name: [row[name] for row in rows] for name in columns} == columns
    with (tmp_path / "presses.csv").open(encoding="utf-8", newline="") as file:
        lines = list(csv.DictReader(file))
    assert [float(line["span_ms"]) for line in lines] == columns["span_ms"]
    assert [line["spot"] for line in lines] == columns["spot"]


def test_pandas_and_polars_take_the_columns_as_they_are(library, tmp_path):
    fill(library, tmp_path)
    study = library.study(LAG_STUDY.name)
    assert len(pd.DataFrame(study.presses().columns())) == 10
    frame = pl.DataFrame(study.columns())
    median = frame.filter(pl.col("verdict") == "accepted")["span_ms"].median()
    (glance,) = [glance for glance in study.overview() if glance.n]
    assert glance.median_ms == pytest.approx(median, abs=1e-5)  # a hundredth of a microsecond


def test_an_empty_study_is_a_table_without_rows(sqlite_library, tmp_path):
    for name in ("presses.csv", "presses.json", "presses.parquet"):
        assert write_presses(sqlite_library.folder, LAG_STUDY.name, tmp_path / name) == 0
    assert pl.read_parquet(tmp_path / "presses.parquet").shape[0] == 0
    with pytest.raises(BadSetting, match="ends in no known form"):
        write_presses(sqlite_library.folder, LAG_STUDY.name, tmp_path / "presses.xls")
