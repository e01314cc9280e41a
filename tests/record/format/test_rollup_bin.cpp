#include <cmath>
#include <limits>
#include <random>

#include <catch2/catch.hpp>

#include "server/record/format/rollup_bin.hpp"

namespace turnstone {
namespace {

const std::vector<ColumnCode> kCodes{{0, 1, false}, {273.15, 0.01, false}, {5, -0.005, false}, {0, 1e-3, true}, {}};

/// A value of column `c`: mostly a whole number of steps, as cells give it back.
double random_value(std::size_t c, std::mt19937& random) {
    if (random() % 4 == 0) return std::nan("");
    if (c == 4) return std::normal_distribution<double>(0, 1e5)(random);
    return kCodes[c].value_of(static_cast<std::int64_t>(random() % 20'000) - 10'000);
}

TEST_CASE("a bin comes back as it was") {
    std::mt19937 random(6);
    std::vector<std::byte> data;
    std::size_t octets = 0;
    for (int round = 0; round < 500; ++round) {
        RollupBin bin(kCodes.size());
        for (std::size_t rows = 1 + random() % 40; rows > 0; --rows) {
            std::vector<double> row;
            for (std::size_t c = 0; c < kCodes.size(); ++c) row.push_back(random_value(c, random));
            bin.add(row);
        }
        encode_bin(bin, kCodes, data);
        octets += data.size();
        RollupBin read(kCodes.size());
        REQUIRE(decode_bin(data, bin.rows, kCodes, read));
        CHECK(read.count == bin.count);
        for (std::size_t c = 0; c < kCodes.size(); ++c) {
            if (bin.count[c] == 0) continue;
            CHECK(read.min[c] == bin.min[c]);
            CHECK(read.max[c] == bin.max[c]);
            CHECK(read.sum[c] == Approx(bin.sum[c]).epsilon(1e-12).margin(1e-9));
        }
    }
    CHECK(octets / 500 < 80); // of 140 as they lie in memory, three of them REALs
}

TEST_CASE("damaged bins are refused or read as some numbers, and nothing is read beyond them") {
    std::mt19937 random(7);
    std::size_t refused = 0;
    for (int round = 0; round < 20'000; ++round) {
        std::vector<std::byte> data(random() % 90);
        for (std::byte& octet : data) octet = static_cast<std::byte>(random() & 0xff);
        RollupBin bin(kCodes.size());
        refused += decode_bin(data, static_cast<std::int64_t>(random()), kCodes, bin) ? 0U : 1U;
        refused += decode_bin_1(data, 1, kCodes.size(), bin) ? 0U : 1U;
    }
    CHECK(refused > 30'000);
}

} // namespace
} // namespace turnstone
