"""The first tables."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make every table."""
    for make in (_dog, _visit, _clip, _place, _trial, _unusable, _task, _record, _measure, _finding, _forgotten, _note):
        make()


def _dog() -> None:
    op.create_table(
        "dog",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("folded", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_dog")),
        sa.UniqueConstraint("folded", name=op.f("uq_dog_folded")),
        sa.UniqueConstraint("name", name=op.f("uq_dog_name")),
    )


def _visit() -> None:
    op.create_table(
        "visit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("dog_id", sa.Integer(), nullable=False),
        sa.Column("date", sa.String(length=10), nullable=False),
        sa.ForeignKeyConstraint(["dog_id"], ["dog.id"], name=op.f("fk_visit_dog_id_dog"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_visit")),
        sa.UniqueConstraint("dog_id", "date", name=op.f("uq_visit_dog_id_date")),
    )


def _clip() -> None:
    op.create_table(
        "clip",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("kind", sa.String(length=8), nullable=False),
        sa.Column("bytes", sa.BigInteger(), nullable=False),
        sa.Column("added_at", sa.Double(), nullable=False),
        sa.Column("wanted", sa.String(length=64), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_clip")),
        sa.UniqueConstraint("sha256", name=op.f("uq_clip_sha256")),
    )


def _place() -> None:
    op.create_table(
        "place",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("clip_id", sa.Integer(), nullable=False),
        sa.Column("path", sa.String(), nullable=False),
        sa.Column("seen_at", sa.Double(), nullable=False),
        sa.Column("bytes", sa.BigInteger(), nullable=False),
        sa.Column("changed_ns", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["clip_id"], ["clip.id"], name=op.f("fk_place_clip_id_clip"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_place")),
        sa.UniqueConstraint("path", name=op.f("uq_place_path")),
    )
    op.create_index("ix_place_clip_id_id", "place", ["clip_id", "id"])


def _trial() -> None:
    op.create_table(
        "trial",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("clip_id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.Integer()),
        sa.Column("condition", sa.String(), nullable=False),
        sa.Column("baseline", sa.Boolean(), nullable=False),
        sa.Column("belt_m_s", sa.Double()),
        sa.Column("filmed_fps", sa.Double()),
        sa.Column("facing", sa.String(length=5)),
        sa.Column("fps", sa.Double()),
        sa.Column("incline_deg", sa.Double()),
        sa.Column("lead_tension_n", sa.Double()),
        sa.Column("withers_cm", sa.Double()),
        sa.Column("mass_kg", sa.Double()),
        sa.Column("notes", sa.String(), nullable=False),
        sa.Column("sheet", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["clip_id"], ["clip.id"], name=op.f("fk_trial_clip_id_clip"), ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name=op.f("fk_trial_visit_id_visit"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_trial")),
        sa.UniqueConstraint("clip_id", name=op.f("uq_trial_clip_id")),
    )
    op.create_index(op.f("ix_trial_visit_id"), "trial", ["visit_id"])


def _unusable() -> None:
    op.create_table(
        "unusable",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("path", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("seen_at", sa.Double(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_unusable")),
        sa.UniqueConstraint("path", name=op.f("uq_unusable_path")),
    )


def _task() -> None:
    op.create_table(
        "task",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("clip_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=64), nullable=False),
        sa.Column("reading", sa.String(length=64), nullable=False),
        sa.Column("state", sa.String(length=8), nullable=False),
        sa.Column("tries", sa.Integer(), nullable=False),
        sa.Column("deaths", sa.Integer(), nullable=False),
        sa.Column("owner", sa.String(), nullable=False),
        sa.Column("beat_at", sa.Double()),
        sa.Column("begun_at", sa.Double()),
        sa.Column("ended_at", sa.Double()),
        sa.Column("error", sa.String(), nullable=False),
        sa.Column("exit_code", sa.Integer()),
        sa.ForeignKeyConstraint(["clip_id"], ["clip.id"], name=op.f("fk_task_clip_id_clip"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_task")),
        sa.UniqueConstraint("clip_id", "key", name=op.f("uq_task_clip_id_key")),
    )
    op.create_index("ix_task_state_reading", "task", ["state", "reading"])


def _record() -> None:
    op.create_table(
        "record",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("clip_id", sa.Integer(), nullable=False),
        sa.Column("task_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=64), nullable=False),
        sa.Column("current", sa.Boolean(), nullable=False),
        sa.Column("network_hash", sa.String(), nullable=False),
        sa.Column("network_name", sa.String(), nullable=False),
        sa.Column("version", sa.String(), nullable=False),
        sa.Column("folder", sa.String(), nullable=False),
        sa.Column("read_at", sa.Double(), nullable=False),
        sa.Column("facing", sa.String(length=5), nullable=False),
        sa.Column("grade", sa.String(), nullable=False),
        sa.Column("gait", sa.String(), nullable=False),
        sa.Column("strides_used", sa.Integer(), nullable=False),
        sa.Column("notices", sa.JSON(), nullable=False),
        sa.Column("checks", sa.JSON(), nullable=False),
        sa.Column("trial", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["clip_id"], ["clip.id"], name=op.f("fk_record_clip_id_clip"), ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["task_id"], ["task.id"], name=op.f("fk_record_task_id_task"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_record")),
        sa.UniqueConstraint("task_id", name=op.f("uq_record_task_id")),
    )
    op.create_index(op.f("ix_record_clip_id"), "record", ["clip_id"])


def _measure() -> None:
    op.create_table(
        "measure",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("record_id", sa.Integer(), nullable=False),
        sa.Column("gait", sa.String(), nullable=False),
        sa.Column("measure", sa.String(), nullable=False),
        sa.Column("unit", sa.String(length=8), nullable=False),
        sa.Column("n", sa.Integer(), nullable=False),
        sa.Column("mean", sa.Double(), nullable=False),
        sa.Column("sd", sa.Double()),
        sa.ForeignKeyConstraint(
            ["record_id"], ["record.id"], name=op.f("fk_measure_record_id_record"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_measure")),
        sa.UniqueConstraint("record_id", "gait", "measure", name=op.f("uq_measure_record_id_gait_measure")),
    )


def _finding() -> None:
    op.create_table(
        "finding",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=12), nullable=False),
        sa.Column("rank", sa.Double(), nullable=False),
        sa.Column("dog_id", sa.Integer()),
        sa.Column("clip_id", sa.Integer()),
        sa.Column("record_id", sa.Integer()),
        sa.Column("date", sa.String(), nullable=False),
        sa.Column("words", sa.String(), nullable=False),
        sa.Column("advice", sa.String(), nullable=False),
        sa.Column("measure", sa.String(), nullable=False),
        sa.Column("gait", sa.String(), nullable=False),
        sa.Column("unit", sa.String(), nullable=False),
        sa.Column("before", sa.Double()),
        sa.Column("now", sa.Double()),
        sa.Column("difference", sa.Double()),
        sa.Column("low", sa.Double()),
        sa.Column("high", sa.Double()),
        sa.Column("repeatability", sa.Double()),
        sa.Column("page", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["clip_id"], ["clip.id"], name=op.f("fk_finding_clip_id_clip"), ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["dog_id"], ["dog.id"], name=op.f("fk_finding_dog_id_dog"), ondelete="CASCADE"),
        sa.ForeignKeyConstraint(
            ["record_id"], ["record.id"], name=op.f("fk_finding_record_id_record"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_finding")),
    )
    op.create_index(op.f("ix_finding_clip_id"), "finding", ["clip_id"])
    op.create_index(op.f("ix_finding_dog_id"), "finding", ["dog_id"])
    op.create_index(op.f("ix_finding_rank"), "finding", ["rank"])
    op.create_index(op.f("ix_finding_record_id"), "finding", ["record_id"])


def _forgotten() -> None:
    op.create_table(
        "forgotten",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.Double(), nullable=False),
        sa.Column("what", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_forgotten")),
    )


def _note() -> None:
    op.create_table(
        "note",
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("value", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_note")),
    )
