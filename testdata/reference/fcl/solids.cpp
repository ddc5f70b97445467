#include "solids.h"

#include <sstream>

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

// readHull makes FCL's convex of points. Its distance functions use the vertices alone, so that one face stands for all.
Solid readHull(std::istream& in) {
  size_t n = 0;
  in >> n;
  auto points = std::make_shared<std::vector<Vec>>();
  for (size_t i = 0; i < n; ++i) points->push_back(readPoint(in));
  auto faces = std::make_shared<std::vector<int>>();
  faces->push_back(3);
  for (int i = 0; i < 3; ++i) faces->push_back(i % static_cast<int>(n));
  Solid out;
  out.shape = std::make_shared<fcl::Convexd>(points, 1, faces, false);
  out.points = *points;
  return out;
}

Solid readBox(std::istream& in) {
  Solid out;
  out.pose.translation() = readPoint(in);
  const Vec sides = readPoint(in);
  for (int r = 0; r < 3; ++r)
    for (int c = 0; c < 3; ++c) in >> out.pose.linear()(r, c);
  out.shape = std::make_shared<fcl::Boxd>(sides);
  for (int i = 0; i < 8; ++i) {
    const Vec signs(i & 1 ? 1 : -1, i & 2 ? 1 : -1, i & 4 ? 1 : -1);
    out.points.push_back(out.pose * Vec(sides.cwiseProduct(signs) / 2));
  }
  return out;
}

}  // namespace

Solid readSolid(const std::string& line) {
  std::istringstream in(line);
  std::string kind;
  in >> kind;
  if (kind == "hull") return readHull(in);
  if (kind == "box") return readBox(in);
  Solid out;
  const Vec a = readPoint(in);
  out.points.push_back(a);
  if (kind == "sphere") {
    in >> out.round;
    out.pose.translation() = a;
    out.shape = std::make_shared<fcl::Sphered>(out.round);
    return out;
  }
  const Vec b = readPoint(in);
  in >> out.round;
  out.points.push_back(b);
  const double length = (b - a).norm();
  out.pose = alongAxis(a, b);
  if (kind == "capsule") out.shape = std::make_shared<fcl::Capsuled>(out.round, length);
  if (kind == "cylinder") out.shape = std::make_shared<fcl::Cylinderd>(out.round, length);
  if (kind == "cone") out.shape = std::make_shared<fcl::Coned>(out.round, length);
  return out;
}

double distance(const fcl::CollisionGeometryd* a, const fcl::Transform3d& atA, const fcl::CollisionGeometryd* b,
                const fcl::Transform3d& atB, fcl::GJKSolverType by) {
  fcl::DistanceRequestd request;
  request.enable_nearest_points = false;
  request.gjk_solver_type = by;
  request.distance_tolerance = 1e-9;
  fcl::DistanceResultd result;
  fcl::distance(a, atA, b, atB, request, result);
  return result.min_distance;
}
