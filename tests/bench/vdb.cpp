// The distance of the benchmark's mesh by OpenVDB (Debian: libopenvdb-dev), for comparison. Built and run by main.ts:
//   g++ -O3 -march=native -std=c++17 vdb.cpp -o vdb -lopenvdb -ltbb -lImath
// Arguments: mesh file, output file, threads, runs, band in mm. Mesh file: int32 nv, nt; float32 step, origin[3]; int32 dims[3];
// float32 positions[nv][3] mm; uint32 triangles[nt][3]. Output: float32 distance, mm, x fastest, the band's width where farther.
// Prints one line of JSON: wall and CPU seconds of the fastest run. Copying into the dense array is not timed.
#include <openvdb/openvdb.h>
#include <openvdb/tools/Dense.h>
#include <openvdb/tools/MeshToVolume.h>
#include <tbb/global_control.h>

#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <fstream>
#include <vector>

int main(int argc, char** argv) {
  if (argc < 6) return 2;
  const int threads = std::atoi(argv[3]), runs = std::atoi(argv[4]);
  const float band = std::atof(argv[5]);
  tbb::global_control limit(tbb::global_control::max_allowed_parallelism, threads);
  openvdb::initialize();
  std::ifstream in(argv[1], std::ios::binary);
  int counts[2], dims[3];
  float step, origin[3];
  in.read((char*)counts, 8).read((char*)&step, 4).read((char*)origin, 12).read((char*)dims, 12);
  std::vector<float> p(counts[0] * 3);
  std::vector<openvdb::Vec3I> faces(counts[1]);
  in.read((char*)p.data(), p.size() * 4).read((char*)faces.data(), faces.size() * 12);
  if (!in) return 3;
  // Voxel centres of the index space are whole numbers, as cell centres are here.
  std::vector<openvdb::Vec3s> points(counts[0]);
  for (int i = 0; i < counts[0]; i++)
    points[i] = openvdb::Vec3s((p[i * 3] - origin[0]) / step, (p[i * 3 + 1] - origin[1]) / step, (p[i * 3 + 2] - origin[2]) / step);
  auto transform = openvdb::math::Transform::createLinearTransform(step);
  const float width = band / step;
  double wall = 1e9, cpu = 1e9;
  openvdb::FloatGrid::Ptr grid;
  for (int r = 0; r < runs; r++) {
    const auto t0 = std::chrono::steady_clock::now();
    const std::clock_t c0 = std::clock();
    openvdb::tools::QuadAndTriangleDataAdapter<openvdb::Vec3s, openvdb::Vec3I> mesh(points, faces);
    grid = openvdb::tools::meshToVolume<openvdb::FloatGrid>(mesh, *transform, width, width, openvdb::tools::UNSIGNED_DISTANCE_FIELD);
    cpu = std::min(cpu, double(std::clock() - c0) / CLOCKS_PER_SEC);
    wall = std::min(wall, std::chrono::duration<double>(std::chrono::steady_clock::now() - t0).count());
  }
  openvdb::CoordBBox box(openvdb::Coord(0), openvdb::Coord(dims[0] - 1, dims[1] - 1, dims[2] - 1));
  openvdb::tools::Dense<float, openvdb::tools::LayoutXYZ> dense(box);
  openvdb::tools::copyToDense(*grid, dense);
  std::ofstream(argv[2], std::ios::binary).write((char*)dense.data(), size_t(dims[0]) * dims[1] * dims[2] * 4);
  std::printf("{\"wall\": %.4f, \"cpu\": %.4f}\n", wall, cpu);
  return 0;
}
