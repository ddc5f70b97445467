// A whole rig by FCL: solids on the ground, on axis 1 and on axis 2, turned here about the two axes.
//
// Reads from standard input lines of numbers in mm and degrees, separated by blanks. First the rig at its zero pose:
//
//	axis 1 px py pz  dx dy dz       a point and the direction of the axis; a pose turns by the right hand
//	axis 2 px py pz  dx dy dz       it is carried by axis 1
//	solid LINK SOLID                LINK 0 ground, 1 axis 1, 2 axis 2; SOLID as in solids.h; counted from 0
//	pair A B REQUIRED               two solids, the first one's link the lower, and the gap wanted between them
//	end
//
// then questions, each answered at once:
//
//	least A1 A2          the least spare (distance less what is required; an overlap is -1) and the pair that has it, by one
//	                     dynamic AABB tree a link: "SPARE PAIR"
//	pairs A1 A2          the distance of each pair, -1 of an overlap, without trees
//	surely A1 A2         the least spare at a pose by both of FCL's solvers, without trees
//	grid A1 A2 STEP ROWS COLUMNS NEAR
//	                     of ROWS angles of axis 1 from A1 on, each a line with COLUMNS angles of axis 2 from A2 on, a sign: '+'
//	                     every pair has more than what it requires, '-' one has less, '0' one lies within NEAR mm of it and none has
//	                     less; then "distances N doubts M"
//	clock ROUNDS N       followed by N lines "A1 A2": nanoseconds of "least" at all of them ROUNDS times, without reading or writing
//	clockgrid STEP       the same of every STEP degrees of a turn of both axes: nanoseconds, poses
//	memory               the most memory that this process held, kB
//
// A grid asks each pair no oftener than the triangle rule needs: where a pose has a pair's distance d, poses at which the pair
// has moved by no more than m have a distance in [d - m, d + m]. Of pairs that one axis alone moves each angle of that axis is asked.
//
// Since one false distance would then stand for a whole block, a grid asks both of FCL's solvers. Each looks for the nearest two points of the
// two solids and tells how far those are apart that it stopped at, so that of two figures the lesser is the better: now and then the first
// solver stops millimetres too early (two boxes; a box and a hull of four points). Where they differ by more than a tenth of a millimetre,
// that is a doubt.

#include "solids.h"

#include <sys/resource.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <iostream>
#include <limits>
#include <sstream>

namespace {

const double kDegree = std::acos(-1.0) / 180;

struct Axis {
  Vec point = Vec::Zero(), direction = Vec::UnitZ();

  fcl::Transform3d turned(double deg) const {
    fcl::Transform3d out = fcl::Transform3d::Identity();
    out.linear() = Eigen::AngleAxisd(deg * kDegree, direction.normalized()).toRotationMatrix();
    out.translation() = point - out.linear() * point;
    return out;
  }

  double off(const Vec& x) const { return (x - point).cross(direction.normalized()).norm(); }

  double farthest(const Solid& s) const {
    double out = 0;
    for (const Vec& x : s.points) out = std::max(out, off(x));
    return out + s.round;
  }
};

struct Part {
  int link = 0;
  Solid solid;
  std::unique_ptr<fcl::CollisionObjectd> object;
};

struct Pair {
  int a = 0, b = 0;
  double required = 0;
  double reach1 = 0, reach2 = 0;  // mm per radian of each axis that the two move against each other at most
};

class Scene {
 public:
  bool read();
  void answer();

 private:
  Axis axes_[2];
  std::vector<Part> parts_;
  std::vector<Pair> pairs_;
  std::vector<int> pair_of_;  // by a * parts + b: index of a pair, or -1
  double most_required_ = 0;
  fcl::DynamicAABBTreeCollisionManagerd trees_[3];
  long distances_ = 0, doubts_ = 0;

  struct Least {
    const Scene* scene;
    double spare = std::numeric_limits<double>::infinity();
    int pair = -1;
  };

  void ready();
  fcl::Transform3d link(int n, double a1, double a2) const;
  double between(const Pair& q, double a1, double a2);
  double surely(const Pair& q, double a1, double a2);
  static bool nearer(fcl::CollisionObjectd* a, fcl::CollisionObjectd* b, void* data, double& dist);
  Least least(double a1, double a2);
  void grid(std::istream& in);
  void clock(std::istream& in);
  void clockGrid(std::istream& in);

  struct Grid {
    double a1, a2, step, near;
    int rows, columns;
    std::vector<std::string> signs;
  };
  static char sign(double spare, double near) { return spare > near ? '+' : spare < -near ? '-' : '0'; }
  static char worse(char a, char b) { return a == '-' || b == '-' ? '-' : a == '0' || b == '0' ? '0' : '+'; }
  void alone(Grid& g);
  void block(Grid& g, int i0, int i1, int j0, int j1, const std::vector<int>& open);
};

bool Scene::read() {
  std::string line;
  while (std::getline(std::cin, line)) {
    std::istringstream in(line);
    std::string word;
    in >> word;
    if (word == "end") {
      ready();
      return true;
    }
    if (word == "axis") {
      int n = 0;
      Vec p, d;
      in >> n >> p[0] >> p[1] >> p[2] >> d[0] >> d[1] >> d[2];
      if (!in || n < 1 || n > 2) break;
      axes_[n - 1].point = p;
      axes_[n - 1].direction = d;
    } else if (word == "solid") {
      Part part;
      in >> part.link;
      std::string rest;
      std::getline(in, rest);
      part.solid = readSolid(rest);
      if (!part.solid.shape || part.link < 0 || part.link > 2) break;
      parts_.push_back(std::move(part));
    } else if (word == "pair") {
      Pair q;
      in >> q.a >> q.b >> q.required;
      const int n = static_cast<int>(parts_.size());
      if (!in || q.a < 0 || q.b < 0 || q.a >= n || q.b >= n || parts_[q.a].link >= parts_[q.b].link) break;
      pairs_.push_back(q);
    } else {
      break;
    }
  }
  std::fprintf(stderr, "not understood: %s\n", line.c_str());
  return false;
}

// ready puts the parts into the trees of their links and bounds how fast each pair moves.
void Scene::ready() {
  pair_of_.assign(parts_.size() * parts_.size(), -1);
  for (size_t i = 0; i < parts_.size(); ++i) {
    Part& p = parts_[i];
    p.object.reset(new fcl::CollisionObjectd(p.solid.shape, p.solid.pose));
    p.object->setUserData(reinterpret_cast<void*>(i));
    p.object->computeAABB();
    trees_[p.link].registerObject(p.object.get());
  }
  for (auto& t : trees_) t.setup();
  for (size_t i = 0; i < pairs_.size(); ++i) {
    Pair& q = pairs_[i];
    pair_of_[q.a * parts_.size() + q.b] = static_cast<int>(i);
    most_required_ = std::max(most_required_, q.required);
    const Solid &a = parts_[q.a].solid, &b = parts_[q.b].solid;
    if (parts_[q.a].link == 0) {
      double moving = axes_[0].farthest(b);
      if (parts_[q.b].link == 2) {  // at whatever angle of axis 2
        double far = 0;
        for (const Vec& x : b.points) far = std::max(far, (x - axes_[1].point).norm());
        moving = far + b.round + axes_[0].off(axes_[1].point);
      }
      q.reach1 = std::min(axes_[0].farthest(a), moving);
    }
    if (parts_[q.b].link == 2) {
      q.reach2 = axes_[1].farthest(b);
      if (parts_[q.a].link == 1) q.reach2 = std::min(q.reach2, axes_[1].farthest(a));
    }
  }
}

fcl::Transform3d Scene::link(int n, double a1, double a2) const {
  if (n == 0) return fcl::Transform3d::Identity();
  const fcl::Transform3d first = axes_[0].turned(a1);
  return n == 1 ? first : first * axes_[1].turned(a2);
}

// between is a pair's distance at a pose.
double Scene::between(const Pair& q, double a1, double a2) {
  ++distances_;
  const Part &a = parts_[q.a], &b = parts_[q.b];
  return distance(a.solid.shape.get(), link(a.link, a1, a2) * a.solid.pose, b.solid.shape.get(), link(b.link, a1, a2) * b.solid.pose);
}

// surely is between by both solvers.
double Scene::surely(const Pair& q, double a1, double a2) {
  const Part &a = parts_[q.a], &b = parts_[q.b];
  const double here = between(q, a1, a2);
  const double other = distance(a.solid.shape.get(), link(a.link, a1, a2) * a.solid.pose, b.solid.shape.get(),
                                link(b.link, a1, a2) * b.solid.pose, fcl::GST_LIBCCD);
  if (here < 0 || other < 0 || std::abs(here - other) <= 0.1) return here;
  ++doubts_;
  return std::min(here, other);
}

// nearer is what the trees call: of a pair that counts it takes the distance, and it says how near boxes must be to matter.
bool Scene::nearer(fcl::CollisionObjectd* a, fcl::CollisionObjectd* b, void* data, double& dist) {
  auto* out = static_cast<Least*>(data);
  const Scene& s = *out->scene;
  size_t i = reinterpret_cast<size_t>(a->getUserData()), j = reinterpret_cast<size_t>(b->getUserData());
  if (s.parts_[i].link > s.parts_[j].link) std::swap(i, j);
  const int n = s.pair_of_[i * s.parts_.size() + j];
  if (n >= 0) {
    const double spare =
        distance(a->collisionGeometry().get(), a->getTransform(), b->collisionGeometry().get(), b->getTransform()) - s.pairs_[n].required;
    if (spare < out->spare) {
      out->spare = spare;
      out->pair = n;
    }
  }
  dist = out->spare + s.most_required_;
  return dist <= 0;
}

Scene::Least Scene::least(double a1, double a2) {
  const fcl::Transform3d links[3] = {link(0, a1, a2), link(1, a1, a2), link(2, a1, a2)};
  for (Part& p : parts_) {
    if (p.link == 0) continue;
    p.object->setTransform(links[p.link] * p.solid.pose);
    p.object->computeAABB();
  }
  trees_[1].update();
  trees_[2].update();
  Least out{this};
  const int order[3][2] = {{0, 2}, {0, 1}, {1, 2}};
  for (const auto& o : order) {
    if (trees_[o[0]].empty() || trees_[o[1]].empty()) continue;
    trees_[o[0]].distance(&trees_[o[1]], &out, nearer);
  }
  return out;
}

// alone asks of the pairs that one axis moves, at each angle of it.
void Scene::alone(Grid& g) {
  std::string by_row(g.rows, '+'), by_column(g.columns, '+');
  for (const Pair& q : pairs_) {
    if (parts_[q.b].link == 1)
      for (int i = 0; i < g.rows; ++i) by_row[i] = worse(by_row[i], sign(surely(q, g.a1 + i * g.step, 0) - q.required, g.near));
    if (parts_[q.a].link == 1)
      for (int j = 0; j < g.columns; ++j) by_column[j] = worse(by_column[j], sign(surely(q, 0, g.a2 + j * g.step) - q.required, g.near));
  }
  for (int i = 0; i < g.rows; ++i)
    for (int j = 0; j < g.columns; ++j) g.signs[i][j] = worse(by_row[i], by_column[j]);
}

// block asks of the pairs that are open in a rectangle of the grid, last ones included, from its middle.
void Scene::block(Grid& g, int i0, int i1, int j0, int j1, const std::vector<int>& open) {
  const double half1 = (i1 - i0) * g.step / 2, half2 = (j1 - j0) * g.step / 2;
  const double a1 = g.a1 + i0 * g.step + half1, a2 = g.a2 + j0 * g.step + half2;
  std::vector<int> left;
  char all = '+';
  for (int n : open) {
    const Pair& q = pairs_[n];
    const double moves = kDegree * (q.reach1 * half1 + q.reach2 * half2) * (1 + 1e-9);
    const double spare = surely(q, a1, a2) - q.required;
    if (spare - moves > g.near) continue;
    if (i0 == i1 && j0 == j1) {
      all = worse(all, sign(spare, g.near));
      continue;
    }
    // Of an overlap FCL tells no depth: then it is at most 0.
    if (std::max(spare, -q.required) + moves < -g.near) {
      all = '-';
      left.clear();
      break;
    }
    left.push_back(n);
  }
  if (left.empty()) {
    for (int i = i0; i <= i1; ++i)
      for (int j = j0; j <= j1; ++j) g.signs[i][j] = worse(g.signs[i][j], all);
    return;
  }
  const int mi = i0 + (i1 - i0) / 2, mj = j0 + (j1 - j0) / 2;
  block(g, i0, mi, j0, mj, left);
  if (mj < j1) block(g, i0, mi, mj + 1, j1, left);
  if (mi < i1) block(g, mi + 1, i1, j0, mj, left);
  if (mi < i1 && mj < j1) block(g, mi + 1, i1, mj + 1, j1, left);
}

void Scene::grid(std::istream& in) {
  Grid g;
  in >> g.a1 >> g.a2 >> g.step >> g.rows >> g.columns >> g.near;
  g.signs.assign(g.rows, std::string(g.columns, '+'));
  distances_ = doubts_ = 0;
  alone(g);
  std::vector<int> both;
  for (size_t n = 0; n < pairs_.size(); ++n)
    if (parts_[pairs_[n].a].link == 0 && parts_[pairs_[n].b].link == 2) both.push_back(static_cast<int>(n));
  const int side = 64;
  for (int i = 0; i < g.rows; i += side)
    for (int j = 0; j < g.columns; j += side)
      block(g, i, std::min(i + side, g.rows) - 1, j, std::min(j + side, g.columns) - 1, both);
  for (const std::string& row : g.signs) std::printf("%s\n", row.c_str());
  std::printf("distances %ld doubts %ld\n", distances_, doubts_);
}

using Clock = std::chrono::steady_clock;

long long since(Clock::time_point t) { return std::chrono::duration_cast<std::chrono::nanoseconds>(Clock::now() - t).count(); }

void Scene::clock(std::istream& in) {
  int rounds = 0, n = 0;
  in >> rounds >> n;
  std::vector<std::pair<double, double>> poses(n);
  for (auto& p : poses) std::cin >> p.first >> p.second;
  std::cin.ignore();
  double sum = 0;
  const auto t = Clock::now();
  for (int r = 0; r < rounds; ++r)
    for (const auto& p : poses) sum += least(p.first, p.second).spare;
  std::printf("%lld %.9g\n", since(t), sum);
}

void Scene::clockGrid(std::istream& in) {
  double step = 1, sum = 0;
  in >> step;
  const int n = static_cast<int>(std::lround(360 / step));
  const auto t = Clock::now();
  for (int i = 0; i < n; ++i)
    for (int j = 0; j < n; ++j) sum += least(i * step, j * step).spare;
  std::printf("%lld %d %.9g\n", since(t), n * n, sum);
}

void Scene::answer() {
  std::string line;
  while (std::getline(std::cin, line)) {
    std::istringstream in(line);
    std::string word;
    double a1 = 0, a2 = 0;
    in >> word;
    if (word == "least") {
      in >> a1 >> a2;
      const Least l = least(a1, a2);
      std::printf("%.17g %d\n", l.spare, l.pair);
    } else if (word == "pairs") {
      in >> a1 >> a2;
      for (const Pair& q : pairs_) std::printf("%.17g ", between(q, a1, a2));
      std::printf("\n");
    } else if (word == "surely") {
      in >> a1 >> a2;
      double spare = std::numeric_limits<double>::infinity();
      for (const Pair& q : pairs_) spare = std::min(spare, surely(q, a1, a2) - q.required);
      std::printf("%.17g\n", spare);
    } else if (word == "grid") {
      grid(in);
    } else if (word == "clock") {
      clock(in);
    } else if (word == "clockgrid") {
      clockGrid(in);
    } else if (word == "memory") {
      rusage used;
      getrusage(RUSAGE_SELF, &used);
      std::printf("%ld\n", used.ru_maxrss);
    } else {
      std::fprintf(stderr, "no such question: %s\n", line.c_str());
      std::exit(1);
    }
    std::fflush(stdout);
  }
}

}  // namespace

int scene() {
  Scene s;
  if (!s.read()) return 1;
  s.answer();
  return 0;
}
