#include "comp/graph/draw.h"

#include <cstring>
#include <list>
#include <mutex>
#include <tuple>

namespace pw {

struct Kept::Inside {
  using Key = std::tuple<int, int, int>;
  struct Item {
    Key key;
    Picture picture;
    bool forever;
    int64_t bytes;
  };
  std::mutex mutex;
  int64_t limit, bytes = 0;
  std::list<Item> items;  // Last used first.
  std::map<Key, std::list<Item>::iterator> where;
};

Kept::Kept(int64_t limit_bytes) : inside_(std::make_unique<Inside>()) { inside_->limit = limit_bytes; }
Kept::~Kept() = default;

std::optional<Picture> Kept::find(int node, int output, int frame) {
  std::lock_guard lock(inside_->mutex);
  const auto it = inside_->where.find({node, output, frame});
  if (it == inside_->where.end()) return std::nullopt;
  const auto item = it->second;
  inside_->items.splice(inside_->items.begin(), inside_->items, item);
  return item->picture;
}

void Kept::keep(int node, int output, int frame, const Picture& picture, bool forever) {
  std::lock_guard lock(inside_->mutex);
  const Inside::Key key{node, output, frame};
  if (const auto it = inside_->where.find(key); it != inside_->where.end()) {
    if (!it->second->forever) inside_->bytes -= it->second->bytes;
    inside_->items.erase(it->second);
    inside_->where.erase(it);
  }
  const int64_t bytes = picture.window().area() * picture.channels() * 4;
  inside_->items.push_front({key, picture, forever, bytes});
  inside_->where[key] = inside_->items.begin();
  if (!forever) inside_->bytes += bytes;
  for (auto it = inside_->items.end(); inside_->bytes > inside_->limit && it != inside_->items.begin();) {
    --it;
    if (it->forever) continue;
    inside_->bytes -= it->bytes;
    inside_->where.erase(it->key);
    it = inside_->items.erase(it);
  }
}

namespace {

std::vector<Rect> tiles_of(const Rect& r, int width, int height) {
  std::vector<Rect> tiles;
  if (width <= 0) width = std::max(1, r.width());
  height = std::max(1, height);
  for (int y = r.y0; y < r.y1; y += height)
    for (int x = r.x0; x < r.x1; x += width)
      tiles.push_back({x, y, std::min(x + width, r.x1), std::min(y + height, r.y1)});
  if (tiles.empty()) tiles.push_back(Rect{});  // An empty step still says how many channels it has.
  return tiles;
}

class Drawer {
 public:
  Drawer(const Drawing& d, const Plan& plan)
      : d_(d),
        plan_(plan),
        pictures_(plan.steps.size()),
        kept_(plan.steps.size()),
        needed_(plan.steps.size()),
        left_(plan.steps.size()) {}

  Result<std::vector<Picture>> run() {
    recall();
    for (size_t i = 0; i < plan_.steps.size(); ++i) {
      if (!needed_[i]) continue;
      if (kept_[i]) {
        pictures_[i] = kept_[i]->cropped(plan_.steps[i].rect);
        kept_[i].reset();
        continue;
      }
      auto picture = step(plan_.steps[i]);
      if (!picture) return fail(picture.error());
      pictures_[i] = std::move(*picture);
      for (const Read& r : plan_.steps[i].reads)
        if (--left_[r.step] == 0) pictures_[r.step] = Picture();
    }
    std::vector<Picture> wanted;
    for (size_t s : plan_.wanted) wanted.push_back(pictures_[s]);
    return wanted;
  }

 private:
  bool source(const Step& s) const { return d_.stage.scene.graph.nodes[s.node].kind->family == Family::source; }
  bool stays_for_bands(const Step& s) const { return d_.in_bands && s.rect.contains(d_.stage.scene.shot.canvas()); }

  // What is kept already, and which steps are needed with that.
  void recall() {
    for (size_t s : plan_.wanted) needed_[s] = true, ++left_[s];
    for (size_t i = plan_.steps.size(); i-- > 0;) {
      const Step& s = plan_.steps[i];
      if (!needed_[i]) continue;
      if (source(s) || d_.stage.fixed[s.node] || stays_for_bands(s)) {
        // Footage is kept whole, so outside its window there is nothing; others may have been drawn in part.
        auto kept = d_.kept.find(s.node, s.output, s.frame);
        if (kept && (source(s) || kept->window().contains(s.rect))) kept_[i] = std::move(kept);
      }
      if (!kept_[i])
        for (const Read& r : s.reads) needed_[r.step] = true, ++left_[r.step];
    }
  }

  Result<Picture> step(const Step& s) {
    if (source(s)) {
      auto whole = whole_frame(d_, s.node, s.output, s.frame);
      if (!whole) return whole;
      return whole->cropped(s.rect);
    }
    Picture p = make(s, d_.stage.scene.graph.nodes[s.node]);
    if (d_.stage.fixed[s.node])
      d_.kept.keep(s.node, s.output, s.frame, p, true);
    else if (stays_for_bands(s))
      d_.kept.keep(s.node, s.output, s.frame, p, false);
    return p;
  }

  Picture make(const Step& s, const Node& node) {
    const auto inputs = d_.stage.connections(s.node, s.frame);
    static const Picture none;
    const auto get = [&](int input, int item, int frame) -> const Picture& {
      for (const Read& r : s.reads)
        if (r.input == input && r.item == item && r.frame == frame) return pictures_[r.step];
      return none;
    };
    const std::vector<Rect> tiles =
        node.kind->whole ? std::vector{s.rect} : tiles_of(s.rect, d_.tile_width, d_.tile_height);
    std::vector<Picture> made(tiles.size());
    d_.runner.run(tiles.size(), [&](size_t t) {
      const Making making{Ask{d_.stage.scene.shot, s.frame, tiles[t], s.output, inputs, &d_.stage.measured[s.node],
                              d_.stage.files(s.node)},
                          get};
      made[t] = node.kind->hooks.make(node.params.get(), making);
    });
    if (made.size() == 1 && made[0].window() == s.rect) return made[0];
    Canvas whole(s.rect, made[0].channels());
    d_.runner.run(tiles.size(), [&](size_t t) { paste(whole, tiles[t], made[t]); });
    return std::move(whole).finish();
  }

  // `part` over `tile`; clear where it has no pixels.
  static void paste(Canvas& whole, const Rect& tile, const Picture& part) {
    const Rect inside = intersect(tile, part.window());
    const int c = whole.channels();
    for (int y = tile.y0; y < tile.y1; ++y) {
      if (inside != tile) std::memset(whole.at(tile.x0, y), 0, sizeof(float) * c * tile.width());
      if (y >= inside.y0 && y < inside.y1 && !inside.empty())
        std::memcpy(whole.at(inside.x0, y), part.at(inside.x0, y), sizeof(float) * c * inside.width());
    }
  }

  const Drawing& d_;
  const Plan& plan_;
  std::vector<Picture> pictures_;
  std::vector<std::optional<Picture>> kept_;
  std::vector<bool> needed_;
  std::vector<int> left_;
};

}  // namespace

Result<Picture> whole_frame(const Drawing& d, int n, int output, int frame) {
  if (auto kept = d.kept.find(n, output, frame)) return *std::move(kept);
  const Scene& scene = d.stage.scene;
  const Node& node = scene.graph.nodes[n];
  auto loaded = node.kind->hooks.load(node.params.get(), scene.shot, *scene.surveys[n], frame);
  if (!loaded) {
    for (Problem& p : loaded.error()) p.node = node.name, p.frame = frame;
    return fail(loaded.error());
  }
  if (d.loads) {
    for (Problem& p : loaded->warnings) p.node = node.name;
    d.loads->add(n, frame, loaded->warnings);
  }
  d.kept.keep(n, output, frame, loaded->picture, false);
  return std::move(loaded->picture);
}

Result<std::vector<Picture>> draw(const Drawing& drawing, const Plan& plan) { return Drawer(drawing, plan).run(); }

}  // namespace pw
