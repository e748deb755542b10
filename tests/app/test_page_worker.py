"""The page's worker processes: what ends one does not end the page."""

import threading
import time

import pytest

from plancha.app.new_study import NEW_MAP, NEW_STUDY
from plancha.app.page_design import Design, Edit
from plancha.app.page_work import Question
from plancha.app.page_worker import Refused, Worker


@pytest.fixture
def worker():
    found = Worker("tested", 120.0)
    yield found
    found.stop()


@pytest.fixture
def question(tmp_path):
    (tmp_path / "power_map.csv").write_text(NEW_MAP)
    return Question(Design(NEW_STUDY, tmp_path / "study.toml"))


def test_a_worker_that_is_killed_at_work_says_so_and_works_again(worker, question):
    worker.ask("quick", question)
    process = worker.process

    def kill():
        time.sleep(0.2)
        process.kill()

    threading.Thread(target=kill).start()
    fine = Question(question.design, (Edit(("plate", 0, "thickness"), "2 mm"),))
    with pytest.raises(Refused, match="ended unexpectedly"):
        for _ in range(1000):
            worker.ask("full", fine)
    assert len(worker.ask("quick", question)) > 10_000


def test_a_worker_that_ended_between_questions_is_started_again(worker, question):
    worker.ask("quick", question)
    worker.process.kill()
    worker.process.join()
    assert len(worker.ask("quick", question)) > 10_000


def test_patience_has_an_end(worker, question):
    worker.ask("quick", question)
    worker.patience = 0.02
    with pytest.raises(Refused, match="was stopped after"):
        worker.ask("full", question)
    worker.patience = 120.0
    assert len(worker.ask("quick", question)) > 10_000


def test_faults_come_with_the_command_lines_words_and_the_keys_that_lead_to_them(worker, question):
    with pytest.raises(Refused) as refused:
        worker.ask("quick", Question(question.design, (Edit(("plate", 0, "thickness"), "3"),)))
    [fault] = refused.value.faults
    assert fault["path"] == ["plate", 0, "thickness"]
    assert fault["text"].startswith('study.toml, line 7, plate, thickness: "3" has no unit')


def test_what_nobody_foresaw_is_a_failure_and_no_end(worker, question, capfd):
    with pytest.raises(Refused, match="unforeseen"):
        worker.ask("no such task", question)
    assert len(worker.ask("quick", question)) > 10_000
