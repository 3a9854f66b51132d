package peers.hapi;

import ca.uhn.fhir.rest.server.RestfulServer;
import org.eclipse.jetty.ee10.servlet.ServletContextHandler;
import org.eclipse.jetty.ee10.servlet.ServletHolder;
import org.eclipse.jetty.server.Server;
import org.eclipse.jetty.server.ServerConnector;
import org.springframework.context.annotation.AnnotationConfigApplicationContext;

/**
 * HAPI FHIR's JPA server behind plain Jetty, on loopback only.
 *
 * <p>Arguments: PORT (0 takes any free one) and the JDBC address of an H2 database. Prints one line
 * {@code LISTENING http://127.0.0.1:PORT/fhir} as soon as it listens; the first answer may take some seconds more.
 */
public final class HapiServer {

    private HapiServer() {}

    public static void main(String[] arguments) {
        if (arguments.length != 2) {
            System.err.println("usage: HapiServer PORT JDBC-ADDRESS");
            System.exit(2);
        }
        try {
            serve(Integer.parseInt(arguments[0]), arguments[1]);
        } catch (Exception cause) { // HAPI's own threads would keep a server that never listened alive
            cause.printStackTrace();
            System.exit(1);
        }
    }

    private static void serve(int port, String database) throws Exception {
        System.setProperty(HapiConfig.DATABASE, database);
        var beans = new AnnotationConfigApplicationContext(HapiConfig.class);

        var jetty = new Server();
        var listener = new ServerConnector(jetty);
        listener.setHost("127.0.0.1"); // a test server has no business on any other address
        listener.setPort(port);
        jetty.addConnector(listener);
        jetty.setHandler(servlet(beans.getBean(RestfulServer.class)));

        jetty.setStopAtShutdown(true);
        Runtime.getRuntime().addShutdownHook(new Thread(beans::close));
        jetty.start();
        System.out.println("LISTENING http://127.0.0.1:" + listener.getLocalPort() + "/fhir");
        jetty.join();
    }

    private static ServletContextHandler servlet(RestfulServer fhir) {
        var context = new ServletContextHandler("/", ServletContextHandler.NO_SESSIONS);
        context.addServlet(new ServletHolder(fhir), "/fhir/*");
        return context;
    }
}
