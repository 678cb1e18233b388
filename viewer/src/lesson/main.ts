// The page of lessons: the data of one stand in the page, or the app is asked for those on its open case.
import { Gone, Program, Refusal } from "../api";
import { button, make } from "../dom";
import "../style.css";
import "./lesson.css";
import type { LessonData } from "./data";
import { Player } from "./player";
import { Quiz } from "./quiz";
import type { QuizData } from "./quizdata";

interface Door {
  readonly head_label: string;
  readonly command: string;
  readonly lessons: readonly { readonly name: string; readonly title: string; readonly about: string }[];
}

const found = globalThis as unknown as { headfit: Record<string, unknown> };
found.headfit = { player: null };
const carried = (id: string): unknown => {
  const text = document.getElementById(id)?.textContent;
  return text ? JSON.parse(text) : null;
};

/** All lessons on the case that the app has open. */
async function door(program: Program): Promise<void> {
  const { head_label, command, lessons } = await program.get<Door>("lessons");
  const said = make("p", { className: "said" });
  said.setAttribute("role", "status");
  const leave = (): void => {
    document.body.replaceChildren(door_);
    document.title = "Lessons · headfit";
  };
  const enter = async (name: string): Promise<void> => {
    said.textContent = "Computing on this head ...";
    try {
      const data = await program.get<unknown>(name === "quiz" ? "quiz" : `lesson?name=${encodeURIComponent(name)}`);
      said.textContent = "";
      document.body.replaceChildren();
      if (name === "quiz") found.headfit["quiz"] = new Quiz(data as QuizData, document.body, leave);
      else found.headfit["player"] = new Player(data as LessonData, document.body, leave);
    } catch (error) {
      said.textContent = why(error);
    }
  };
  const entry = (name: string, title: string, about: string): HTMLElement => {
    const open = button("", () => void enter(name), "lesson-door");
    open.append(make("b", { textContent: title }), make("span", { textContent: about }));
    open.dataset["lesson"] = name;
    return make("li", {}, [open]);
  };
  const list = make("ul", { className: "doors" }, [
    ...lessons.map((each) => entry(each.name, each.title, each.about)),
    entry("quiz", "Quiz", "Sites to click, names, distances, a misread tape; on this head and on others.")]);
  const door_ = make("main", { className: "door" }, [make("h1", { textContent: `Lessons on: ${head_label}` }), list, said,
    make("p", { className: "again-from" }, ["The same from a terminal, as one file: ", make("code", { textContent: command })])]);
  leave();
}

const why = (error: unknown): string =>
  error instanceof Gone ? "The headfit program does not answer. Start it with: headfit app" : error instanceof Refusal ? `${error.message}.` : String(error);

const lesson = carried("headfit-lesson");
const quiz = carried("headfit-quiz");
if (lesson) found.headfit["player"] = new Player(lesson as LessonData, document.body);
else if (quiz) found.headfit["quiz"] = new Quiz(quiz as QuizData, document.body);
else
  void door(new Program()).catch((error: unknown) => {
    document.body.append(make("p", { className: "note", textContent: why(error) }));
  });
