import { defineConfig } from "vite";

// The page of a lesson, beside the app's: one script and one style sheet that an offline file inlines.
export default defineConfig({
  base: "./",
  build: {
    outDir: "../headfit/app/static",
    emptyOutDir: false,
    modulePreload: false,
    chunkSizeWarningLimit: 900,
    rollupOptions: {
      input: "src/lesson/main.ts",
      output: { entryFileNames: "lesson.js", assetFileNames: "lesson[extname]", codeSplitting: false },
    },
  },
});
