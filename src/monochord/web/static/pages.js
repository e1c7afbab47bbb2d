// Shows how far a piece of work is, as the server tells it; without scripts the page is looked at again by hand.
const watched = document.querySelector("[data-task]");
if (watched && watched.dataset.state === "running") {
  const news = new EventSource("/api/events");
  news.addEventListener("task", (event) => {
    const task = JSON.parse(event.data);
    if (task.id !== watched.dataset.task) return;
    if (task.state !== "running") { news.close(); location.reload(); return; }
    const list = watched.querySelector(".lines");
    list.replaceChildren(...task.lines.map((line) => {
      const item = document.createElement("li");
      item.textContent = line;
      return item;
    }));
  });
  news.addEventListener("open", async () => {
    const answer = await fetch(`/api/tasks/${watched.dataset.task}`);
    if (answer.ok && (await answer.json()).state !== "running") { news.close(); location.reload(); }
  });
}
