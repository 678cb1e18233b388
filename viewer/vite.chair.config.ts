import { defineConfig } from "vite";

// The chair's one file carries no viewer: a script and a style sheet of its own, inlined by the program.
export default defineConfig({
  base: "./",
  build: {
    outDir: "../headfit/app/static",
    emptyOutDir: false,
    modulePreload: false,
    rollupOptions: {
      input: "src/chair/offline.ts",
      output: { entryFileNames: "chair.js", assetFileNames: "chair[extname]", codeSplitting: false },
    },
  },
});
