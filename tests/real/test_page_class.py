"""A class in Debian's Chromium: the teacher's page and two phones, each a browser's context of its own."""

import pytest

from tests.page.looking import broken_rules

pytestmark = pytest.mark.parametrize("running", ["127.0.0.2"], indirect=True)


@pytest.fixture
def teacher(opened):
    page = opened()
    page.click("nav [data-part=ears]")
    page.wait_for_selector("#class-start")
    return page


@pytest.fixture
def phone(chromium, running):
    """A phone that opens the link that the teacher shows; nothing it asks for lies elsewhere."""
    contexts, faults = [], []

    def come(teacher):
        link = teacher.inner_text("#class a")
        contexts.append(
            chromium.new_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
        )
        page = contexts[-1].new_page()
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.on("console", lambda said: said.type == "error" and faults.append(said.text))
        page.on("request", lambda request: request.url.startswith(running.url) or faults.append(request.url))
        page.goto(link)
        page.wait_for_selector("h1:not(:has-text('One moment'))")
        return page

    yield come
    for context in contexts:
        context.close()
    assert faults == []


def start(teacher, names=False, phones=False):
    teacher.set_checked("#class-names", names)
    teacher.set_checked("#class-phones", phones)
    teacher.click("#class-start")
    teacher.wait_for_selector("#class-there:has-text('0 phones here')")


def bars(teacher):
    return [line.split() for line in teacher.locator("#class-bars li").all_inner_texts()]


def test_one_question_to_two_phones_answered_together_without_names(teacher, phone):
    start(teacher)
    one, other = phone(teacher), phone(teacher)
    teacher.wait_for_selector("#class-there:has-text('2 phones here')")
    assert one.locator("input").count() == 0
    teacher.select_option("#class-kind", "purer")
    teacher.click("#class-ask")
    teacher.wait_for_selector(".meter:not([aria-valuenow='-60'])", state="attached")  # it sounds here
    for page, choice in ((one, 0), (other, 0), (other, 1)):  # the other changes its mind
        page.tap(f"[data-choice='{choice}']")
        page.wait_for_selector(f"[data-choice='{choice}'][aria-pressed=true]")
    teacher.wait_for_selector("#class-there:has-text('2 answered')")
    assert teacher.locator("#class-bars").count() == 0
    assert broken_rules(one) == []
    teacher.click("#class-show")
    teacher.wait_for_selector("#class-bars")
    assert [line[2] for line in bars(teacher)] == ["1", "1"]
    assert teacher.locator("#class-bars li[data-right=true]:has-text('✓')").count() == 1
    assert teacher.locator("#class-bars small").count() == 0
    for page in (one, other):
        page.wait_for_selector("[role=status]:has-text('cents')")
        assert [text.split()[-1] for text in page.locator("[data-choice]").all_inner_texts()] == ["1", "1"]
    assert broken_rules(teacher) == []
    teacher.click("#class-stop")
    one.wait_for_selector("h1:has-text('The class is over')")


def test_names_are_shown_where_the_teacher_asks_for_them_and_the_question_sounds_on_the_phones(
    teacher, phone
):
    start(teacher, names=True, phones=True)
    ada, bela = phone(teacher), phone(teacher)
    for page, name in ((ada, "Ada"), (bela, "Béla")):
        page.fill("[aria-label='Your name']", name)
        page.press("[aria-label='Your name']", "Tab")
    teacher.select_option("#class-lesson", "in-the-band")
    teacher.select_option("#class-step", label="2. Drop in a chord")
    teacher.click("#class-ask-step")
    ada.wait_for_selector("#class-question:has-text('A root sags')")
    # Not by wait_for_function, which has the page evaluate a text where it waits: the phone's forbids that.
    ada.evaluate("""async () => {
      const audio = document.querySelector("audio");
      await audio.play();
      while (audio.currentTime === 0) await new Promise(requestAnimationFrame);
    }""")
    assert teacher.locator(".meter[aria-valuenow='-60']").count() == 1
    ada.tap("[data-choice='0']")
    bela.tap("[data-choice='1']")
    teacher.wait_for_selector("#class-there:has-text('2 answered')")
    teacher.click("#class-show")
    teacher.wait_for_selector("#class-bars small:has-text('Ada')")
    assert [line.split()[-1] for line in teacher.locator("#class-bars li").all_inner_texts()][:2] == [
        "Ada", "Béla",
    ]  # fmt: skip


def test_a_lesson_that_the_teacher_gives_is_taken_on_each_phone(teacher, phone):
    start(teacher, names=True)
    ada, other = phone(teacher), phone(teacher)
    ada.fill("[aria-label='Your name']", "Ada")
    ada.press("[aria-label='Your name']", "Tab")
    teacher.select_option("#class-lesson", "hearing-beats")
    teacher.click("#class-share")
    teacher.wait_for_selector("#class-given:has-text('Hearing beats')")
    for page in (ada, other):
        page.wait_for_selector("#lesson-title:has-text('One tone')")
    for number in range(2, 8):
        ada.tap("#lesson-next")
        ada.wait_for_selector(f".count-of:has-text('{number} of 8')")
    ada.tap("[data-step='-2']")  # the tone is heard where it was moved
    ada.wait_for_selector("[data-demonstrate='0'][aria-pressed=true]")
    assert ada.locator(".ladder").count() == 0
    ada.tap("#lesson-done")
    ada.wait_for_selector("#lesson-verdict:has-text('+10.0 cents from it')")
    assert ada.locator(".ladder").count() == 1
    assert broken_rules(ada) == []
    ada.tap("#lesson-next")
    ada.tap("[data-reply='0']")
    ada.wait_for_selector("#lesson-verdict:has-text('.')")
    other.tap("[data-demonstrate='0']")
    other.wait_for_selector("[data-demonstrate='0'][aria-pressed=true]")
    teacher.wait_for_selector("#class-listeners:has-text('of 2 right')")
    said = [" ".join(line.split()) for line in teacher.locator("#class-steps li").all_inner_texts()]
    assert "Set it pure 0 of 1 right" in said[6]
    assert "no answer yet" in said[0]
    ada.reload()
    ada.wait_for_selector(".count-of:has-text('8 of 8')")  # where it was
    teacher.select_option("#class-kind", "side")
    teacher.click("#class-ask")
    ada.wait_for_selector("#class-question")
    teacher.click("#class-share")
    ada.wait_for_selector(".count-of:has-text('8 of 8')")
