#include <algorithm>
#include <mutex>
#include <stdexcept>
#include <system_error>
#include <thread>
#include <utility>

#include <boost/asio/post.hpp>

#include "protocol/broker/piece.hpp"
#include "protocol/broker/piece_order.hpp"
#include "server/broker/client.hpp"
#include "server/link/link.hpp"
#include "shared/time.hpp"

namespace turnstone {

namespace {

/// Messages that wait for reception: above it the broker has to wait, and keeps what comes.
constexpr std::size_t kWaitingBytesMax = 16u << 20;
constexpr int kTurn_ms = 100;

class BrokerLink final : public Link {
  public:
    BrokerLink(boost::asio::io_context& context, BrokerSource source, LinkHandler handler)
        : Link(context, std::move(handler)), source_(std::move(source)), gap_timer_(context) {}

  private:
    /// One connection, on a thread that nobody waits for: libmosquitto looks names up and connects in the call.
    struct Session {
        std::mutex mutex;
        boost::asio::io_context* context = nullptr; ///< null: nobody listens any more
        std::size_t waiting_bytes = 0;
    };

    void open() override {
        const auto session = std::make_shared<Session>();
        session->context = &context();
        session_ = session;
        try {
            std::thread([session, weak = std::weak_ptr(self<BrokerLink>()), source = source_] {
                run(session, weak, source);
            }).detach();
        } catch (const std::system_error& error) {
            cannot_open(std::string("there is no thread for it (") + error.what() + ")");
        }
    }

    void read() override {} // the session does

    void close() noexcept override {
        const auto session = std::exchange(session_, nullptr);
        is_up_ = false;
        if (stopped()) gap_timer_.cancel();
        if (session == nullptr) return;
        const std::lock_guard lock(session->mutex);
        session->context = nullptr;
    }

    /// Has `work` done where the link runs, if anybody listens there.
    template <class Work>
    static void post(const std::shared_ptr<Session>& session, const std::weak_ptr<BrokerLink>& weak, Work&& work,
                     std::size_t bytes = 0) {
        const std::lock_guard lock(session->mutex);
        if (session->context == nullptr) return;
        session->waiting_bytes += bytes;
        boost::asio::post(*session->context, [session, weak, bytes, task = std::forward<Work>(work)] {
            {
                const std::lock_guard taken(session->mutex);
                session->waiting_bytes -= bytes;
            }
            const auto link = weak.lock();
            if (link != nullptr && link->session_ == session && !link->stopped()) task(*link);
        });
    }

    [[nodiscard]] static bool is_over(Session& session) {
        const std::lock_guard lock(session.mutex);
        return session.context == nullptr;
    }
    [[nodiscard]] static bool has_room(Session& session) {
        const std::lock_guard lock(session.mutex);
        return session.waiting_bytes < kWaitingBytesMax;
    }

    static void run(const std::shared_ptr<Session>& session, const std::weak_ptr<BrokerLink>& weak,
                    const BrokerSource& source) {
        std::string why;
        try {
            BrokerCallbacks callbacks;
            BrokerClient* connection = nullptr;
            callbacks.on_connected = [&] {
                if (const auto asked = connection->subscribe("turnstone/" + source.station + "/link/" + source.link);
                    !asked)
                    throw std::runtime_error(asked.error().message);
            };
            callbacks.on_subscribed = [&] {
                post(
                    session, weak, [](BrokerLink& link) { link.on_subscribed(); });
            };
            callbacks.on_message = [&](std::span<const std::byte> payload) {
                std::vector<std::byte> message(payload.begin(), payload.end());
                post(
                    session, weak, [message](BrokerLink& link) { link.on_message(message); }, message.size());
            };
            BrokerClient client(source.access, source.client, true, std::move(callbacks));
            connection = &client;
            auto up = client.connect();
            while (up && !is_over(*session))
                if (has_room(*session))
                    up = client.turn(kTurn_ms);
                else
                    std::this_thread::sleep_for(std::chrono::milliseconds(kTurn_ms / 10));
            if (up)
                client.disconnect();
            else
                why = up.error().message;
        } catch (const std::exception& error) {
            why = error.what();
        }
        post(session, weak, [why](BrokerLink& link) { link.on_ended(why); });
    }

    void on_subscribed() {
        is_up_ = true;
        opened();
    }

    void on_ended(const std::string& why) {
        const std::string what = "the broker " + source_.access.place();
        if (std::exchange(is_up_, false))
            lost(what + " was lost (" + why + ")");
        else
            cannot_open(what + " cannot be used (" + why + ")");
    }

    void on_message(std::span<const std::byte> message) {
        const auto piece = read_piece(message);
        if (!piece) {
            remark("a message under the name of " + source_.station + " " + piece.error().message + "; it is left out");
            return;
        }
        order_.take(message, *piece, station_now_ns(), on_piece());
        watch_gap();
    }

    /// Pieces behind a gap go on after a while, also when nothing else comes.
    void watch_gap() {
        if (!order_.waits()) return;
        gap_timer_.expires_after(std::chrono::nanoseconds(PieceOrder::kGapMost_ns));
        gap_timer_.async_wait([link = self<BrokerLink>()](const boost::system::error_code& error) {
            if (!error && !link->stopped()) link->order_.look(station_now_ns(), link->on_piece());
        });
    }

    [[nodiscard]] PieceOrder::OnPiece on_piece() {
        return [this](const Piece& piece, std::size_t known_bytes, std::uint64_t missing_bytes) {
            hand_on(piece, known_bytes, missing_bytes);
        };
    }

    void hand_on(const Piece& piece, std::size_t known_bytes, std::uint64_t missing_bytes) {
        RelayedTimes times{.clock = piece.head.clock, .sent_ns = piece.head.sent_ns, .heard_before_s = {}};
        std::vector<std::span<const std::byte>> chunks;
        for (const PieceChunk& chunk : piece.chunks) {
            const std::size_t skipped = std::min(known_bytes, chunk.bytes.size());
            known_bytes -= skipped;
            if (skipped == chunk.bytes.size()) continue;
            times.heard_before_s.push_back(seconds_between(chunk.t_rx_ns, piece.head.sent_ns));
            chunks.push_back(chunk.bytes.subspan(skipped));
        }
        missing_bytes_ += missing_bytes;
        if (!chunks.empty()) relayed(times, chunks);
        if (missing_bytes > 0) // after what ends a silence, and with it what was said of the link
            remark(std::to_string(missing_bytes_) + " bytes that " + source_.station +
                   " received did not come; its own recording has them");
    }

    BrokerSource source_;
    std::shared_ptr<Session> session_;
    bool is_up_ = false;
    boost::asio::steady_timer gap_timer_;
    PieceOrder order_; ///< over all connections: what was sent again is known
    std::uint64_t missing_bytes_ = 0;
};

} // namespace

std::shared_ptr<Link> make_link(boost::asio::io_context& context, const BrokerSource& source, LinkHandler handler) {
    return std::make_shared<BrokerLink>(context, source, std::move(handler));
}

} // namespace turnstone
