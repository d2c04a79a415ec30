// driver times LEMON's network simplex on DIMACS minimum-cost-flow files.
//
//   driver ROUNDS FILE...
//
// For each file it prints one line: name, optimal cost, and two medians over
// ROUNDS, in seconds: of NetworkSimplex::run() alone, and of that with the
// construction of the solver, which copies the graph. The Go figure that it is
// compared with includes the copy. Reading the file and building the graph
// count in neither.
#include <algorithm>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <string>
#include <vector>

#include <lemon/network_simplex.h>
#include <lemon/static_graph.h>

namespace {

struct Network {
  long nodes = 0;
  std::vector<long long> supply;
  std::vector<std::pair<int, int>> ends;
  std::vector<long long> low, cap, cost;
};

[[noreturn]] void fail(const std::string& what) {
  std::fprintf(stderr, "driver: %s\n", what.c_str());
  std::exit(2);
}

Network read(const char* path) {
  std::FILE* f = std::fopen(path, "r");
  if (!f) fail(std::string("cannot open ") + path);
  Network net;
  char line[256];
  while (std::fgets(line, sizeof line, f)) {
    long arcs, from, to;
    long long a, b, c;
    if (std::sscanf(line, "p min %ld %ld", &net.nodes, &arcs) == 2) {
      net.supply.assign(net.nodes, 0);
    } else if (line[0] == 'n' && std::sscanf(line, "n %ld %lld", &from, &a) == 2) {
      net.supply.at(from - 1) = a;
    } else if (line[0] == 'a' &&
               std::sscanf(line, "a %ld %ld %lld %lld %lld", &from, &to, &a, &b, &c) == 5) {
      net.ends.emplace_back(from - 1, to - 1);
      net.low.push_back(a);
      net.cap.push_back(b);
      net.cost.push_back(c);
    }
  }
  std::fclose(f);
  return net;
}

// order sorts arc numbers by tail, as StaticDigraph wants them.
std::vector<int> order(const Network& net) {
  std::vector<int> by_tail(net.ends.size());
  for (std::size_t i = 0; i < by_tail.size(); ++i) by_tail[i] = static_cast<int>(i);
  std::stable_sort(by_tail.begin(), by_tail.end(),
                   [&](int x, int y) { return net.ends[x].first < net.ends[y].first; });
  return by_tail;
}

double median(std::vector<double> seconds) {
  std::sort(seconds.begin(), seconds.end());
  return seconds[seconds.size() / 2];
}

void time_file(const char* path, int rounds) {
  using Graph = lemon::StaticDigraph;
  using Simplex = lemon::NetworkSimplex<Graph, int, int>;
  const Network net = read(path);
  const std::vector<int> by_tail = order(net);
  std::vector<std::pair<int, int>> sorted;
  sorted.reserve(by_tail.size());
  for (int i : by_tail) sorted.push_back(net.ends[i]);
  Graph g;
  g.build(static_cast<int>(net.nodes), sorted.begin(), sorted.end());
  Graph::ArcMap<int> low(g), cap(g), cost(g);
  Graph::NodeMap<int> supply(g);
  for (std::size_t k = 0; k < by_tail.size(); ++k) {
    const Graph::Arc a = g.arc(static_cast<int>(k));
    low[a] = static_cast<int>(net.low[by_tail[k]]);
    cap[a] = static_cast<int>(net.cap[by_tail[k]]);
    cost[a] = static_cast<int>(net.cost[by_tail[k]]);
  }
  for (long v = 0; v < net.nodes; ++v) {
    supply[g.node(static_cast<int>(v))] = static_cast<int>(net.supply[v]);
  }
  std::vector<double> running, whole;
  long long total = 0;
  for (int r = 0; r < rounds; ++r) {
    const auto begin = std::chrono::steady_clock::now();
    Simplex simplex(g);
    simplex.lowerMap(low).upperMap(cap).costMap(cost).supplyMap(supply);
    const auto start = std::chrono::steady_clock::now();
    const auto status = simplex.run();
    const auto end = std::chrono::steady_clock::now();
    if (status != Simplex::OPTIMAL) fail(std::string(path) + ": not optimal");
    running.push_back(std::chrono::duration<double>(end - start).count());
    whole.push_back(std::chrono::duration<double>(end - begin).count());
    total = simplex.totalCost<long long>();
  }
  std::string name(path);
  name = name.substr(name.find_last_of('/') + 1);
  std::printf("%s %lld %.7f %.7f\n", name.c_str(), total, median(running), median(whole));
}

}  // namespace

int main(int argc, char** argv) {
  const int rounds = argc > 2 ? std::atoi(argv[1]) : 0;
  if (rounds < 1) fail("usage: driver ROUNDS FILE...");
  for (int i = 2; i < argc; ++i) time_file(argv[i], rounds);
  return 0;
}
