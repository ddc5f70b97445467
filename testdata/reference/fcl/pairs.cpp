// Distances of convex solids by FCL, to compare keepclear's own with.
//
// Build:  g++ -O2 -std=c++14 -I/usr/include/eigen3 *.cpp -o fcl -lfcl -lccd
// (Debian: libfcl-dev 0.7, libccd-dev, libeigen3-dev.)
//
// Without arguments it reads pairs of lines from standard input, one solid a line (see solids.h), and writes for each pair the
// distance in mm, or -1 where the solids overlap. With the argument "scene" it answers questions about a rig (see scene.cpp).

#include "solids.h"

#include <cstdio>
#include <cstring>
#include <iostream>

int main(int argc, char** argv) {
  if (argc == 2 && std::strcmp(argv[1], "scene") == 0) return scene();
  std::string first, second;
  for (int n = 1; std::getline(std::cin, first) && std::getline(std::cin, second); ++n) {
    const Solid a = readSolid(first), b = readSolid(second);
    if (!a.shape || !b.shape) {
      std::fprintf(stderr, "pair %d: no such solid: %s / %s\n", n, first.c_str(), second.c_str());
      return 1;
    }
    std::printf("%.17g\n", distance(a.shape.get(), a.pose, b.shape.get(), b.pose));
  }
  return 0;
}
