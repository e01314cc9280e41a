#include "server/live_out/live_out.hpp"

#include <algorithm>
#include <chrono>
#include <condition_variable>
#include <cstdint>
#include <cstdlib>
#include <deque>
#include <limits>
#include <mutex>
#include <string>
#include <utility>

#include <spdlog/spdlog.h>

#include "server/live_out/rows.hpp"
#include "server/live_out/way.hpp"
#include "shared/time.hpp"

namespace turnstone {

namespace {

/// Ten seconds of a pipeline that hands over a hundred times a second.
constexpr std::size_t kItemsMax = 1000;
constexpr std::int64_t kSentencePeriod_ns = kNsPerS / 5;
constexpr std::chrono::milliseconds kTurn{50};

constexpr std::chrono::milliseconds kPatience{1500};

struct Tape {
    std::shared_ptr<const Schema> schema;
    std::shared_ptr<const PipelineSetup> setup;
    std::int64_t utc_minus_station_ns = 0;
};

struct Item {
    std::shared_ptr<const Tape> tape;
    std::shared_ptr<const Batch> batch;
};

/// Chooses rows, and joins their lines.
class Sender {
  public:
    explicit Sender(const LiveTarget& target)
        : way_(std::visit([](const auto& known) { return make_way(known); }, target)) {
        if (const auto* const udp = std::get_if<UdpTarget>(&target)) position_of_ = udp->position_of;
    }

    void turn() { way_->turn(); }

    void send(const std::shared_ptr<const Tape>& tape, const Batch& batch) {
        if (std::exchange(tape_, tape) != tape) t_sent_before_ns_ = t_newest_ns_;
        for (const RowRecord& row : batch.rows) {
            // What a recording takes along from the one before has been sent.
            if (row.t_rx_ns <= t_sent_before_ns_) continue;
            t_newest_ns_ = std::max(t_newest_ns_, row.t_rx_ns);
            const Table& table = tape->schema->tables[row.table];
            const std::int64_t utc_ns = row.t_ns + tape->utc_minus_station_ns;
            if (position_of_.empty()) {
                add(json_line(batch, row, table, utc_ns));
            } else if (table.name == position_of_ + "/estimate/navigation" &&
                       std::abs(row.t_ns - t_said_ns_) >= kSentencePeriod_ns) {
                const std::string said = sentences_of(batch, row, table, tape->setup->site.geoid_height_m, utc_ns);
                if (!said.empty()) t_said_ns_ = row.t_ns;
                add(said);
            }
        }
        flush();
    }

  private:
    void add(const std::string& lines) {
        if (!together_.empty() && together_.size() + lines.size() > way_->most_bytes()) flush();
        together_ += lines;
    }
    void flush() {
        if (!together_.empty()) way_->send(together_);
        together_.clear();
    }

    const std::unique_ptr<Way> way_;
    std::string position_of_; ///< empty: all rows
    std::string together_;
    std::shared_ptr<const Tape> tape_;
    static constexpr std::int64_t kNever_ns = std::numeric_limits<std::int64_t>::min() / 2;
    std::int64_t t_newest_ns_ = kNever_ns, t_sent_before_ns_ = kNever_ns, t_said_ns_ = kNever_ns;
};

} // namespace

struct LiveOut::Shared {
    explicit Shared(LiveTarget where) : target(std::move(where)) {}
    void run();
    void send_all();

    const LiveTarget target;
    std::mutex mutex; // of what follows
    std::condition_variable changed;
    std::shared_ptr<const Tape> tape;
    std::deque<Item> items;
    std::uint64_t left_out = 0; ///< batches, not yet told
    bool stopping = false;
    bool finished = false; ///< the thread is at its end
};

void LiveOut::Shared::send_all() {
    Sender sender(target);
    while (true) {
        sender.turn();
        std::unique_lock lock(mutex);
        if (!changed.wait_for(lock, kTurn, [this] { return stopping || !items.empty(); })) continue;
        if (items.empty()) return;
        const Item item = std::move(items.front());
        items.pop_front();
        const std::uint64_t lost = items.empty() ? std::exchange(left_out, 0) : 0;
        lock.unlock();
        if (lost > 0) spdlog::warn("{} batches of values are left out of what is sent on: too many at once", lost);
        sender.send(item.tape, *item.batch);
    }
}

void LiveOut::Shared::run() {
    try {
        send_all();
    } catch (const std::exception& error) {
        spdlog::error("Values are not sent on any more ({})", error.what());
    }
    const std::lock_guard lock(mutex);
    finished = true;
    items.clear();
    changed.notify_all();
}

LiveOut::LiveOut(LiveTarget target)
    : shared_(std::make_shared<Shared>(std::move(target))), thread_([shared = shared_] { shared->run(); }) {}

LiveOut::~LiveOut() {
    std::unique_lock lock(shared_->mutex);
    shared_->stopping = true;
    shared_->changed.notify_all();
    const bool finished = shared_->changed.wait_for(lock, kPatience, [this] { return shared_->finished; });
    lock.unlock();
    if (finished)
        thread_.join();
    else
        thread_.detach();
}

void LiveOut::begins(const LiveTape& tape) {
    const std::lock_guard lock(shared_->mutex);
    shared_->tape = std::make_shared<Tape>(Tape{tape.schema, tape.setup, tape.utc_start_ns - tape.t_start_ns});
}

void LiveOut::publish(std::shared_ptr<const Batch> batch) {
    const std::lock_guard lock(shared_->mutex);
    if (shared_->tape == nullptr || shared_->finished) return;
    if (shared_->items.size() == kItemsMax) {
        shared_->items.pop_front();
        ++shared_->left_out;
    }
    shared_->items.push_back({shared_->tape, std::move(batch)});
    shared_->changed.notify_all();
}

} // namespace turnstone
