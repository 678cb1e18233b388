import { defineConfig } from "vite";

// The page of lessons, beside the app's: served by the app; an offline file inlines its one script and style sheet.
export default defineConfig({
  base: "./",
  build: {
    outDir: "../headfit/app/static",
    emptyOutDir: false,
    modulePreload: false,
    chunkSizeWarningLimit: 900,
    rollupOptions: {
      input: "lesson.html",
      output: { entryFileNames: "lesson.js", assetFileNames: "lesson[extname]", codeSplitting: false },
    },
  },
});
