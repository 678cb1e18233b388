import { defineConfig } from "vite";

// One script and one style sheet with fixed names: the app serves them, the report inlines them.
export default defineConfig({
  base: "./",
  build: {
    outDir: "../headfit/app/static",
    emptyOutDir: true,
    modulePreload: false,
    chunkSizeWarningLimit: 900,
    rollupOptions: {
      output: { entryFileNames: "view.js", assetFileNames: "view[extname]", codeSplitting: false },
    },
  },
});
