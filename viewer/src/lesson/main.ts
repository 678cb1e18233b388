// The page of a lesson: its data stand in the page, or the app sends them.
import "../style.css";
import "./lesson.css";
import type { LessonData } from "./data";
import { Player } from "./player";
import { Quiz } from "./quiz";
import type { QuizData } from "./quizdata";

const carried = document.getElementById("headfit-lesson");
const asked = document.getElementById("headfit-quiz");
const found = globalThis as unknown as { headfit: Record<string, unknown> };
found.headfit = { player: null };
if (asked) found.headfit["quiz"] = new Quiz(JSON.parse(asked.textContent ?? "") as QuizData, document.body);
if (carried) found.headfit["player"] = new Player(JSON.parse(carried.textContent ?? "") as LessonData, document.body);
