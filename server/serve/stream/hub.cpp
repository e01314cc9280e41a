#include "server/serve/stream/hub.hpp"

#include <algorithm>
#include <chrono>
#include <optional>
#include <utility>
#include <vector>

#include <boost/asio/post.hpp>
#include <nlohmann/json.hpp>
#include <spdlog/spdlog.h>

#include "server/serve/encode/description.hpp"
#include "server/serve/encode/messages.hpp"
#include "server/serve/encode/tape_time.hpp"
#include "server/serve/random_key.hpp"

namespace turnstone {
namespace {

constexpr std::chrono::milliseconds kClockPeriod{250};
constexpr unsigned kClockTicksPerStatus = 4;
constexpr std::string_view kShuttingDown = "the server is shutting down";

} // namespace

Hub::Hub(boost::asio::io_context& context, const ServeSettings& settings, const ServeSources& sources, Workers& workers,
         LiveRecording& live, ServeCounters& counters)
    : context_(context), settings_(settings), sources_(sources), live_(live),
      counters_(counters), replay_source_{.context = context,
                                          .workers = workers,
                                          .live = live,
                                          .recordings = settings.recordings,
                                          .server_id = random_key(),
                                          .queue_bytes_max = settings.queue.soft_bytes},
      clock_(context) {}

void Hub::begin(LiveTape tape) {
    if (inbox_.put(std::move(tape))) tell_to_take();
}

void Hub::publish(std::shared_ptr<const Batch> batch) {
    if (batch->rows.empty() && batch->events.empty()) return;
    if (inbox_.put(std::move(batch))) tell_to_take();
}

void Hub::tell_to_take() {
    boost::asio::post(
        context_, [this] { take_inbox(); });
}

void Hub::take_inbox() {
    Inbox::Contents contents = inbox_.take();
    for (Inbox::Item& item : contents.items)
        if (auto* tape = std::get_if<LiveTape>(&item))
            take_tape(std::move(*tape));
        else
            take_batch(*std::get<std::shared_ptr<const Batch>>(item));
    if (contents.overflow.batches > 0 && live_.tape()) take_overflow(contents.overflow);
}

void Hub::take_tape(LiveTape tape) {
    seq_ = 0;
    latest_ = std::move(tape.newest);
    latest_.resize(tape.schema->tables.size());
    newest_ = nullptr;
    live_.begin(std::move(tape));
    for (const auto& [key, member] : audience_) {
        if (member.replay) continue;
        member.viewer->forget_gap();
        send_hello(*member.viewer);
    }
}

void Hub::take_batch(const Batch& batch) {
    if (!live_.tape()) {
        spdlog::error("a batch arrived before any recording was started; it is not shown");
        return;
    }
    const LiveTape& tape = *live_.tape();
    std::vector<WireMessage> events;
    events.reserve(batch.events.size());
    for (const Event& event : batch.events)
        events.push_back(frame_message(Opcode::text, event_text(event, tape.t_start_ns)));

    BlockMessage block;
    std::uint64_t seq = 0;
    if (!batch.rows.empty()) {
        seq = seq_++;
        block = encoder_.rows(batch, *tape.schema, tape.t_start_ns, seq, {});
        ++counters_.blocks_made;
        remember_rows(batch);
    }
    for (const auto& [key, member] : audience_) {
        if (member.replay) continue;
        for (const WireMessage& event : events) member.viewer->send(event);
        if (block.wire) member.viewer->send_block(block.wire, seq, block.from_t_s, block.to_t_s);
    }
}

void Hub::remember_rows(const Batch& batch) {
    const Schema& schema = *live_.tape()->schema;
    std::int64_t newest_ns = live_.tape()->t_start_ns;
    for (const RowRecord& row : batch.rows) {
        auto& newest = latest_[row.table];
        if (newest && newest->first > row.t_ns) continue;
        const auto numbers = batch.numbers_of(row, schema.tables[row.table]);
        if (!newest) newest.emplace();
        newest->first = row.t_ns;
        newest->second.assign(numbers.begin(), numbers.end());
        newest_ns = std::max(newest_ns, row.t_ns);
    }
    live_.grow(newest_ns);
    newest_ = nullptr;
}

void Hub::take_overflow(const Inbox::Overflow& overflow) {
    counters_.batches_dropped += overflow.batches;
    spdlog::warn("the serve thread stalled: {} updates reach viewers through the recording only", overflow.batches);
    const std::int64_t t_start_ns = live_.tape()->t_start_ns;
    const Gap gap{.from_seq = seq_,
                  .to_seq = seq_ + overflow.batches - 1,
                  .from_t_s = tape_seconds(overflow.from_ns, t_start_ns),
                  .to_t_s = tape_seconds(overflow.to_ns, t_start_ns)};
    seq_ += overflow.batches;
    for (const auto& [key, member] : audience_)
        if (!member.replay) member.viewer->send_gap(gap);
}

WireMessage Hub::newest_rows() {
    if (!newest_) newest_ = encoder_.newest(latest_, live_.tape()->t_start_ns, seq_ == 0 ? 0 : seq_ - 1);
    return newest_;
}

void Hub::send_hello(Viewer& viewer) {
    if (!live_.tape()) return; // it comes with the tape
    if (hello_revision_ != live_.revision()) hello_ = {};
    hello_revision_ = live_.revision();
    WireMessage& hello = hello_[viewer.is_operator() ? 1 : 0];
    if (!hello) {
        const LiveTape& tape = *live_.tape();
        const HelloParts parts{
            .is_operator = viewer.is_operator(), .replay = false, .server_id = replay_source_.server_id};
        hello = frame_message(Opcode::text, hello_text(parts,
                                                       description_json(live_.info(sources_.recorder().file_bytes),
                                                                        true, *tape.schema, describe(*tape.setup)),
                                                       latest_json(latest_, tape.t_start_ns)));
    }
    viewer.send(hello);
}

void Hub::welcome(boost::asio::ip::tcp::socket socket, bool is_operator, std::span<const std::byte> early) {
    ViewerHost& host = *this;
    const auto viewer = std::make_shared<Viewer>(std::move(socket), is_operator, settings_.queue, counters_, host);
    ++counters_.viewers_accepted;
    audience_.emplace(viewer.get(), Member{.viewer = viewer, .replay = nullptr});
    counters_.viewers = audience_.size();
    send_hello(*viewer);
    if (stopping_) viewer->close(CloseCode::going_away, kShuttingDown);
    viewer->start(early);
}

void Hub::left(Viewer& viewer) {
    // Later, because viewers may leave while this loops over the audience.
    boost::asio::post(context_, [this, gone = viewer.shared_from_this()] {
        audience_.erase(gone.get());
        counters_.viewers = audience_.size();
    });
}

void Hub::request(Viewer& viewer, ClientMessage message) {
    const auto found = audience_.find(&viewer);
    if (found == audience_.end()) return; // it has left
    std::shared_ptr<Replay>& replay = found->second.replay;
    if (std::holds_alternative<FollowLive>(message.what)) {
        if (replay) replay->stop();
        replay.reset();
        viewer.forget_gap();
        send_hello(viewer);
        return;
    }
    if (std::holds_alternative<OpenReplay>(message.what)) {
        viewer.forget_gap();
        if (!replay) replay = std::make_shared<Replay>(replay_source_, found->second.viewer);
    }
    if (replay)
        replay->request(std::move(message));
    else
        viewer.send(frame_message(
            Opcode::text,
            error_text("this connection follows the live tape; send 'open' with a recording first", message.request)));
}

void Hub::start() {
    run_clock();
}

void Hub::stop() {
    stopping_ = true;
    for (const auto& [key, member] : audience_) member.viewer->close(CloseCode::going_away, kShuttingDown);
}

void Hub::run_clock() {
    clock_.expires_after(kClockPeriod);
    clock_.async_wait([this](const boost::system::error_code& error) {
        if (error) return;
        const auto now = Viewer::Clock::now();
        for (const auto& [key, member] : audience_) member.viewer->tick(now);
        if (!stopping_ && ++clock_ticks_ % kClockTicksPerStatus == 0) send_status();
        run_clock();
    });
}

void Hub::send_status() {
    if (audience_.empty()) return;
    const auto utc_ns =
        std::chrono::duration_cast<std::chrono::nanoseconds>(std::chrono::system_clock::now().time_since_epoch())
            .count();
    const auto& tape = live_.tape();
    const WireMessage status = frame_message(
        Opcode::text, status_text(sources_.links(), sources_.recorder(), audience_.size(), sources_.station_now_ns(),
                                  utc_ns, tape ? std::optional(tape->t_start_ns) : std::nullopt));
    for (const auto& [key, member] : audience_) member.viewer->send_status(status);
}

} // namespace turnstone
