// Solids as FCL has them, read from text.

#ifndef KEEPCLEAR_SOLIDS_H
#define KEEPCLEAR_SOLIDS_H

#include <fcl/fcl.h>

#include <memory>
#include <string>
#include <vector>

using Vec = fcl::Vector3d;

// Solid is FCL's geometry with where it stands, and points whose convex hull, grown by a radius, holds it.
struct Solid {
  std::shared_ptr<fcl::CollisionGeometryd> shape;
  fcl::Transform3d pose = fcl::Transform3d::Identity();
  std::vector<Vec> points;
  double round = 0;
};

// readSolid reads one solid, numbers in mm and separated by blanks; one without shape where the text is none:
//
//	sphere   x y z  radius
//	capsule  ax ay az  bx by bz  radius
//	cylinder ax ay az  bx by bz  radius
//	cone     ax ay az  bx by bz  radius        (radius at a, pointed at b)
//	box      x y z  full sizes x y z  rotation, nine numbers, row by row
//	hull     n  then n points
Solid readSolid(const std::string& line);

// distance is FCL's: mm, or -1 where the two overlap. It asks FCL's own solver (GST_INDEP), not that of libccd, which is known to
// be out by .048 on a pair of unit cubes whatever its tolerance.
double distance(const fcl::CollisionGeometryd* a, const fcl::Transform3d& atA, const fcl::CollisionGeometryd* b,
                const fcl::Transform3d& atB, fcl::GJKSolverType by = fcl::GST_INDEP);

// scene answers questions about a whole rig: see scene.cpp. It returns what the program exits with.
int scene();

#endif
