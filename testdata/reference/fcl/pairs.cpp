// Distances of pairs of convex solids by FCL, to compare keepclear's own with.
//
// Build:  g++ -O1 -std=c++14 -I/usr/include/eigen3 pairs.cpp -o pairs -lfcl -lccd
// (Debian: libfcl-dev 0.7, libccd-dev, libeigen3-dev.)
//
// Reads pairs of lines from standard input, one solid a line, numbers in mm and separated by blanks:
//
//	sphere   x y z  radius
//	capsule  ax ay az  bx by bz  radius
//	cylinder ax ay az  bx by bz  radius
//	cone     ax ay az  bx by bz  radius        (radius at a, pointed at b)
//	box      x y z  full sizes x y z  rotation, nine numbers, row by row
//	hull     n  then n points
//
// and writes for each pair the distance in mm, or -1 where the solids overlap. It asks FCL's own solver (GST_INDEP), not that
// of libccd, which is known to be out by .048 on a pair of unit cubes whatever its tolerance.

#include <fcl/fcl.h>

#include <cstdio>
#include <cmath>
#include <iostream>
#include <memory>
#include <sstream>
#include <string>
#include <vector>

using Vec = fcl::Vector3d;
using Object = std::unique_ptr<fcl::CollisionObjectd>;

namespace {

Vec readPoint(std::istream& in) {
  double x = 0, y = 0, z = 0;
  in >> x >> y >> z;
  return Vec(x, y, z);
}

// alongAxis places a solid whose own axis is z and whose origin is its middle between two points.
fcl::Transform3d alongAxis(const Vec& a, const Vec& b) {
  fcl::Transform3d pose = fcl::Transform3d::Identity();
  pose.linear() = Eigen::Quaterniond::FromTwoVectors(Vec::UnitZ(), b - a).toRotationMatrix();
  pose.translation() = (a + b) / 2;
  return pose;
}

Object put(fcl::CollisionGeometryd* shape, const fcl::Transform3d& pose) {
  return Object(new fcl::CollisionObjectd(std::shared_ptr<fcl::CollisionGeometryd>(shape), pose));
}

// readHull makes FCL's convex of points. Its distance functions use the vertices alone, so that one face stands for all.
Object readHull(std::istream& in) {
  size_t n = 0;
  in >> n;
  auto points = std::make_shared<std::vector<Vec>>();
  for (size_t i = 0; i < n; ++i) points->push_back(readPoint(in));
  auto faces = std::make_shared<std::vector<int>>();
  faces->push_back(3);
  for (int i = 0; i < 3; ++i) faces->push_back(i % static_cast<int>(n));
  return put(new fcl::Convexd(points, 1, faces, false), fcl::Transform3d::Identity());
}

Object readBox(std::istream& in) {
  fcl::Transform3d pose = fcl::Transform3d::Identity();
  pose.translation() = readPoint(in);
  const Vec sides = readPoint(in);
  for (int r = 0; r < 3; ++r)
    for (int c = 0; c < 3; ++c) in >> pose.linear()(r, c);
  return put(new fcl::Boxd(sides), pose);
}

Object readSolid(const std::string& line) {
  std::istringstream in(line);
  std::string kind;
  in >> kind;
  if (kind == "hull") return readHull(in);
  if (kind == "box") return readBox(in);
  const Vec a = readPoint(in);
  double r = 0;
  if (kind == "sphere") {
    in >> r;
    fcl::Transform3d pose = fcl::Transform3d::Identity();
    pose.translation() = a;
    return put(new fcl::Sphered(r), pose);
  }
  const Vec b = readPoint(in);
  in >> r;
  const double length = (b - a).norm();
  if (kind == "capsule") return put(new fcl::Capsuled(r, length), alongAxis(a, b));
  if (kind == "cylinder") return put(new fcl::Cylinderd(r, length), alongAxis(a, b));
  if (kind == "cone") return put(new fcl::Coned(r, length), alongAxis(a, b));
  return nullptr;
}

double distance(const fcl::CollisionObjectd& a, const fcl::CollisionObjectd& b) {
  fcl::DistanceRequestd request;
  request.enable_nearest_points = false;
  request.gjk_solver_type = fcl::GST_INDEP;
  request.distance_tolerance = 1e-9;
  fcl::DistanceResultd result;
  fcl::distance(&a, &b, request, result);
  return result.min_distance;
}

}  // namespace

int main() {
  std::string first, second;
  for (int n = 1; std::getline(std::cin, first) && std::getline(std::cin, second); ++n) {
    const Object a = readSolid(first), b = readSolid(second);
    if (!a || !b) {
      std::fprintf(stderr, "pair %d: no such solid: %s / %s\n", n, first.c_str(), second.c_str());
      return 1;
    }
    std::printf("%.17g\n", distance(*a, *b));
  }
  return 0;
}
