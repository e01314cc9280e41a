#include <cmath>
#include <map>
#include <optional>

#include <catch2/catch.hpp>

#include "server/record/read/reader.hpp"
#include "server/record/write/recorder.hpp"
#include "server/record/write/recording_file.hpp"
#include "server/record/write/repair.hpp"
#include "tests/record/support.hpp"

namespace turnstone {
namespace {

using namespace record_test;

struct Point {
    std::int64_t t_ns;
    std::vector<double> values;
};

/// Rows with gaps, NaN, steps back in time and one stray far ahead: as links and reboots leave a series.
std::vector<Point> awkward_series(std::size_t count, std::uint32_t seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> normal(0, 10);
    std::vector<Point> points;
    std::int64_t t_ns = kStart_ns;
    for (std::size_t i = 0; i < count; ++i) {
        t_ns += static_cast<std::int64_t>(random() % 2'000'000);
        if (random() % 1000 == 0) t_ns += 3'000 * kMs;
        std::int64_t at_ns = t_ns;
        if (random() % 20 == 0) at_ns -= static_cast<std::int64_t>(random() % 2'000) * kMs; // late
        if (i == count / 2) at_ns += 600'000 * kMs;
        points.push_back(
            {at_ns, {random() % 10 == 0 ? kNan : normal(random), normal(random), kNan, std::floor(normal(random))}});
    }
    return points;
}

/// Each bin of the answer against every row that falls into it; bins are recognised by the answer's own times
/// and counts.
void check_against_brute_force(const SeriesBlock& block, const std::vector<Point>& sorted, const SeriesQuery& query) {
    REQUIRE(block.rows <= query.points);
    REQUIRE(block.t_ns.size() == block.rows);
    REQUIRE(block.count.size() == block.rows);
    REQUIRE(block.mean.size() == block.rows * query.columns.size());
    REQUIRE(block.min.size() == block.mean.size());
    const auto begin = std::lower_bound(
        sorted.begin(), sorted.end(), query.from_ns,
        [](const Point& point, std::int64_t t_ns) { return point.t_ns < t_ns; });
    const auto end = std::lower_bound(sorted.begin(), sorted.end(), query.to_ns,
                                      [](const Point& point, std::int64_t t_ns) { return point.t_ns < t_ns; });
    auto row = begin;
    std::optional<std::int64_t> last_ns;
    for (std::size_t i = 0; i < block.rows; ++i) {
        REQUIRE(block.t_ns[i] >= query.from_ns);
        REQUIRE(block.t_ns[i] < query.to_ns);
        REQUIRE((!last_ns || (block.decimated ? block.t_ns[i] > *last_ns : block.t_ns[i] >= *last_ns)));
        last_ns = block.t_ns[i];
        REQUIRE(block.count[i] >= 1);
        REQUIRE(static_cast<std::size_t>(end - row) >= block.count[i]);
        const auto bin_end = row + block.count[i];
        for (std::size_t c = 0; c < query.columns.size(); ++c) {
            double min = std::numeric_limits<double>::infinity(), max = -min, sum = 0, count = 0;
            for (auto at = row; at != bin_end; ++at) {
                const double value = at->values[query.columns[c]];
                if (!std::isnan(value)) {
                    min = std::min(min, value);
                    max = std::max(max, value);
                    sum += value;
                    count += 1;
                }
            }
            const std::size_t place = c * block.rows + i;
            if (count == 0) {
                REQUIRE(std::isnan(block.mean[place]));
                REQUIRE(std::isnan(block.min[place]));
                REQUIRE(std::isnan(block.max[place]));
            } else {
                REQUIRE(block.min[place] == min);
                REQUIRE(block.max[place] == max);
                // Sums of the same numbers in another order: n * epsilon * the greatest partial sum.
                REQUIRE(block.mean[place] == Approx(sum / count).margin(1e-10).epsilon(0));
            }
        }
        row = bin_end;
    }
    REQUIRE(row == end);
}

class AwkwardRecording {
  public:
    explicit AwkwardRecording(std::size_t count, std::uint32_t seed)
        : points_(awkward_series(count, seed)), random_(seed) {
        schema_ = sample_schema();
        schema_.tables.resize(1);
        path_ = directory_.recording("a");
        create_recording(path_, texts_of(sample_setup()), schema_, {kStart_ns, kStart_ns, "", ""}, false);
        file_.emplace(path_, schema_, false);
    }
    /// Writes up to `count` rows in batches of random size, with a commit after each.
    void write(std::size_t count) {
        while (written_ < count) {
            Batch batch;
            for (std::size_t n = 1 + random_() % 400; n > 0 && written_ < count; --n, ++written_)
                batch.add_row(schema_.tables[0], points_[written_].t_ns, points_[written_].t_ns,
                              points_[written_].values);
            file_->append(batch, {});
            file_->commit();
        }
    }
    void check(RecordingReader& reader, int windows) {
        std::vector<Point> sorted(points_.begin(), points_.begin() + static_cast<std::ptrdiff_t>(written_));
        std::ranges::stable_sort(sorted, {}, &Point::t_ns);
        std::size_t decimated = 0;
        for (int i = 0; i < windows; ++i) {
            const std::int64_t span = sorted.back().t_ns - sorted.front().t_ns;
            SeriesQuery query{0, {0, 2, 3}, 0, 0, 1 + random_() % 600};
            std::uniform_int_distribution<std::int64_t> place(-span / 10, span + span / 10);
            query.from_ns = sorted.front().t_ns + place(random_);
            // From single rows to the whole tape.
            query.to_ns =
                query.from_ns + static_cast<std::int64_t>(std::pow(10.0, 4 + static_cast<double>(random_() % 85) / 10));
            if (i % 10 == 0) {
                query.from_ns = std::numeric_limits<std::int64_t>::min();
                query.to_ns = kLast_ns;
            }
            const auto block = reader.series(query);
            REQUIRE(block);
            check_against_brute_force(*block, sorted, query);
            decimated += block->decimated ? 1U : 0U;
        }
        CHECK(decimated >= static_cast<std::size_t>(windows / 10));
    }
    [[nodiscard]] const std::filesystem::path& path() const { return path_; }
    void close() {
        file_->close("clean");
        file_.reset();
    }
    void abandon() { file_.reset(); }
    void reopen() { file_.emplace(path_, schema_, false); }

  private:
    TemporaryFolder directory_;
    Schema schema_;
    std::vector<Point> points_;
    std::mt19937 random_;
    std::filesystem::path path_;
    std::optional<RecordingFile> file_;
    std::size_t written_ = 0;
};

TEST_CASE("a series of any window equals brute force, while it is written and after") {
    const std::uint32_t seed = GENERATE(11U, 12U);
    AwkwardRecording recording(40'000, seed);
    auto reader = RecordingReader::open(recording.path());
    REQUIRE(reader);
    for (const std::size_t count : {1U, 17U, 900U, 12'345U, 30'000U}) {
        recording.write(count);
        recording.check(*reader, count < 100 ? 0 : 40);
    }
    SECTION("closed") {
        recording.write(40'000);
        recording.close();
        recording.check(*reader, 100);
    }
    SECTION("left behind, continued, left again and repaired") {
        recording.abandon();
        recording.reopen();
        recording.write(40'000);
        recording.check(*reader, 60);
        recording.abandon();
        reader = RecordingReader::open(recording.path());
        recording.check(*reader, 20);
        { const RecordingReader closed = std::move(*reader); }
        REQUIRE(repair_recording(recording.path()) == RepairOutcome::repaired);
        reader = RecordingReader::open(recording.path());
        REQUIRE(reader->info().repaired);
        recording.check(*reader, 60);
    }
}

TEST_CASE("a single spike is in every drawing of its window") {
    AwkwardRecording recording(30'000, 5);
    recording.write(30'000);
    recording.close();
    auto reader = RecordingReader::open(recording.path());
    REQUIRE(reader);
    const auto whole = reader->series({0, {1}, std::numeric_limits<std::int64_t>::min(), kLast_ns, 30'000});
    REQUIRE(whole);
    REQUIRE_FALSE(whole->decimated);
    const double greatest = *std::ranges::max_element(whole->max);
    for (const std::size_t points : {1U, 2U, 16U, 100U, 1000U, 8192U}) {
        const auto block = reader->series({0, {1}, std::numeric_limits<std::int64_t>::min(), kLast_ns, points});
        REQUIRE(block);
        CHECK(block->rows <= points);
        CHECK(*std::ranges::max_element(block->max) == greatest);
    }
}

TEST_CASE("series: what cannot be answered says why") {
    AwkwardRecording recording(10, 5);
    recording.write(10);
    auto reader = RecordingReader::open(recording.path());
    REQUIRE(reader);
    CHECK_THAT(reader->series({7, {0}, 0, 1, 10}).error().message, Catch::Contains("table 7"));
    CHECK_THAT(reader->series({0, {4}, 0, 1, 10}).error().message, Catch::Contains("column 4"));
    CHECK_THAT(reader->series({0, {0}, 0, 1, 0}).error().message, Catch::Contains("points"));
    CHECK(reader->series({0, {0}, 5, 5, 10})->rows == 0);
    CHECK(reader->series({0, {0}, 0, 1, 10})->rows == 0);
    CHECK(reader->series({0, {}, kStart_ns, kStart_ns + 3'600'000 * kMs, 10})->rows == 10);
}

} // namespace
} // namespace turnstone
